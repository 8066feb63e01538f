package mib

import (
	"context"
	"fmt"
	"testing"

	"printround/internal/oid"
)

// oneRow answers repeated columns with one row, as in SNMPv1.
type oneRow struct{ *Recording }

func (r oneRow) Next(ctx context.Context, q oid.Request) (oid.Answer, error) {
	q.Reps = 1
	return r.Recording.Next(ctx, q)
}

// manyAlerts is a device with so many alerts, step numbers apart.
func manyAlerts(t testing.TB, n, step int) *Recording {
	lines := []string{"1.3.6.1.2.1.1.3.0|67|900000000", general + ".1.1|65|3", supplies + ".8.1.1|2|100", supplies + ".9.1.1|2|40"}
	for i := range n {
		at := 7 + i*step
		lines = append(lines, fmt.Sprintf("%s.2.1.%d|2|3", alerts, at), fmt.Sprintf("%s.7.1.%d|2|8", alerts, at), fmt.Sprintf("%s.9.1.%d|67|80000", alerts, at))
	}
	return recorded(t, lines...)
}

// The rows of long alert tables come in few exchanges, also where an answer
// never holds more than one row of a column and their numbers follow each
// other.
func TestLongAlertTables(t *testing.T) {
	for _, tt := range []struct {
		alerts, step int
		single       bool
		most         int // exchanges with answers of any size
	}{
		{2, 1, false, 3}, {3, 50, false, 3}, {20, 50, false, 4}, {128, 1, false, 8}, {128, 50, false, 8},
		{20, 1, true, 6}, {60, 1, true, 11}, {20, 50, true, 22},
	} {
		t.Run(fmt.Sprintf("%+v", tt), func(t *testing.T) {
			rec := manyAlerts(t, tt.alerts, tt.step)
			var r Reader = rec
			if tt.single {
				r = oneRow{rec}
			}
			f := read(t, r)
			if m := missed(readable(rec), f.Raw); len(m) > 0 {
				t.Errorf("not read: %v", m)
			}
			t.Logf("%d exchanges", rec.Exchanges)
			if len(f.Alerts) != tt.alerts || rec.Exchanges > tt.most {
				t.Errorf("%d alerts in %d exchanges, want %d in at most %d", len(f.Alerts), rec.Exchanges, tt.alerts, tt.most)
			}
		})
	}
}
