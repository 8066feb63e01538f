package report

import (
	"bytes"
	"math"
	"math/rand/v2"
	"net/netip"
	"reflect"
	"testing"
	"time"

	"printround/internal/device"
)

// TestDeviceJSON: devices of a survey are written as encoding/json writes them,
// octet by octet.
func TestDeviceJSON(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	var all []device.Device
	for _, v := range hostile {
		all = append(all, hostileDevice(v))
	}
	all = append(all, device.Device{}, fullDevice())
	for range 300 {
		var d device.Device
		scramble(r, reflect.ValueOf(&d).Elem())
		all = append(all, d)
	}
	var fast deviceJSON
	slow := newJSONEncoder("    ")
	for i := range all {
		want, err := slow.encode(all[i])
		if err != nil {
			t.Fatal(err)
		}
		want = append([]byte("    "), bytes.TrimSuffix(want, []byte("\n"))...)
		got, err := fast.encode(&all[i])
		if err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(got, want) {
			at := 0
			for at < len(got) && at < len(want) && got[at] == want[at] {
				at++
			}
			from := max(at-80, 0)
			t.Fatalf("device %d differs at %d:\ngot  %s\nwant %s", i, at, got[from:min(at+40, len(got))], want[from:min(at+40, len(want))])
		}
	}
}

func TestDeviceJSONRefusesOddTimes(t *testing.T) {
	d := device.Device{ObservedAt: time.Date(12000, 1, 1, 0, 0, 0, 0, time.UTC)}
	if _, err := new(deviceJSON).encode(&d); err == nil {
		t.Error("a year that RFC 3339 has no digits for was written")
	}
	if _, err := newJSONEncoder("").encode(d); err == nil {
		t.Error("the library writes it")
	}
}

// scramble fills a value with anything its type can hold, nothing included.
func scramble(r *rand.Rand, v reflect.Value) {
	switch x := v.Addr().Interface().(type) {
	case *time.Time:
		*x = time.Unix(r.Int64N(4e9), r.Int64N(2)*r.Int64N(1e9)).In(time.FixedZone("", int(r.Int64N(7))*1800))
		return
	case *netip.Addr:
		list := []netip.Addr{{}, netip.MustParseAddr("10.1.2.3"), netip.MustParseAddr("fe80::1%eth0")}
		*x = list[r.IntN(len(list))]
		return
	case *device.Level:
		*x = device.LevelFrom(r.Int64N(130)-5, r.Int64N(120)-5, "percent", device.Remaining)
		return
	case *device.Status:
		*x = device.StatusFrom(r.Int64N(130))
		return
	}
	switch v.Kind() {
	case reflect.String:
		v.SetString(hostile[r.IntN(len(hostile))])
	case reflect.Bool:
		v.SetBool(r.IntN(2) == 0)
	case reflect.Int, reflect.Int64:
		v.SetInt(r.Int64N(200) - 20)
	case reflect.Float64:
		list := []float64{0, 1, -1.5, 0.1, 210.05, 1e-7, 2.5e-12, 1e21, 3e100, math.NaN(), math.Inf(1), math.Inf(-1), math.Copysign(0, -1)}
		v.SetFloat(list[r.IntN(len(list))])
	case reflect.Pointer:
		if r.IntN(3) > 0 {
			v.Set(reflect.New(v.Type().Elem()))
			scramble(r, v.Elem())
		}
	case reflect.Slice:
		if n := r.IntN(4); n > 0 {
			v.Set(reflect.MakeSlice(v.Type(), n-1, n-1))
			for i := range v.Len() {
				scramble(r, v.Index(i))
			}
		}
	case reflect.Map:
		for range r.IntN(4) {
			key, value := reflect.New(v.Type().Key()).Elem(), reflect.New(v.Type().Elem()).Elem()
			scramble(r, key)
			scramble(r, value)
			if v.IsNil() {
				v.Set(reflect.MakeMap(v.Type()))
			}
			v.SetMapIndex(key, value)
		}
	case reflect.Struct:
		for i := range v.NumField() {
			scramble(r, v.Field(i))
		}
	}
}
