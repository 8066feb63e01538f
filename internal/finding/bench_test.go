package finding

import (
	"fmt"
	"math/rand/v2"
	"testing"

	"printround/internal/device"
)

// fleet is an estate of devices of one model with faults of all kinds.
func fleet(n int) []device.Device {
	r := rand.New(rand.NewPCG(1, 2))
	all := make([]device.Device, n)
	for i := range all {
		if i < 200 {
			all[i] = *arbitrary(r)
		} else {
			all[i] = all[i%200]
		}
		all[i].Key = fmt.Sprintf("serial:%06d", i*7919%n)
		all[i].MakeModel = "Lab L4"
		all[i].Languages = []device.Language{{Family: "langPCL"}, {Family: "langPS"}, {Family: "langPDF"}}
	}
	return all
}

// BenchmarkJudgeRank judges and ranks 10,000 devices.
func BenchmarkJudgeRank(b *testing.B) {
	before := fleet(10000)
	o := Defaults()
	b.ReportAllocs()
	for b.Loop() {
		all := append([]device.Device(nil), before...)
		JudgeAll(all, o)
		Rank(all)
	}
}

// BenchmarkJudge judges one device with a jam, little toner and an empty tray.
func BenchmarkJudge(b *testing.B) {
	d := answering(toner("black", 4), toner("cyan", 60), paper(0, "iso_a4_210x297mm"), reasons("media-jam-error"), bits("jammed"),
		alert(device.Alert{Code: "jam", Severity: "critical", Group: "mediaPath"}))
	o := Defaults()
	b.ReportAllocs()
	for b.Loop() {
		one := *d
		Judge(&one, o)
		if len(one.Findings) == 0 {
			b.Fatal("nothing found")
		}
	}
}
