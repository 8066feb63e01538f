package main

import "testing"

func TestAffordable(t *testing.T) {
	for _, c := range []struct{ wanted, files, want int }{
		{64, 1024, 64}, {1024, 1024, 309}, {64, 256, 53}, {64, 100, 1}, {64, 10, 1}, {1, 20, 1}, {512, 0, 512}, {1024, 1 << 20, 1024},
	} {
		if got := affordable(c.wanted, c.files); got != c.want {
			t.Errorf("%d devices with %d files: %d, want %d", c.wanted, c.files, got, c.want)
		}
	}
	if n := fileLimit(); n < 0 {
		t.Errorf("limit %d", n)
	}
}
