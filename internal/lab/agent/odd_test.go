package agent

import (
	"bytes"
	"testing"
	"time"
)

// What is taken apart and put together again is the same, and nothing that is
// cut short comes apart.
func TestMessageApart(t *testing.T) {
	h := &Host{V1: true, V2c: true, Communities: []string{"public"}, Booted: time.Now()}
	var b Builder
	b.Put(MustOID("1.3.6.1.2.1.1.1"), Text("a printer"), 0)
	b.Put(MustOID("1.3.6.1.2.1.1.7"), Integer(-72), 0)
	h.Serve(b.Build())
	ask := &Message{Version: 1, Community: "public", Kind: pduGetBulk, ID: 77, Status: 1, Index: 3,
		Binds: []Bind{{MustOID("1.3.6.1.2.1.1"), Raw(TagNull, nil)}, {MustOID("1.3.6.1.2.1.1.1"), Raw(TagNull, nil)}}}
	var r Responder
	answer := r.Respond(h, ask.Bytes(), time.Now(), nil)
	m, err := ReadMessage(answer)
	if err != nil || m.ID != 77 || len(m.Binds) == 0 || m.Bulk() {
		t.Fatalf("%+v, %v", m, err)
	}
	again := m.Bytes()
	if !bytes.Equal(answer, again) {
		t.Errorf("% x\nwant % x", again, answer)
	}
	for n := range answer {
		if m, err := ReadMessage(answer[:n]); err == nil {
			t.Fatalf("%d octets: %+v", n, m)
		}
	}
}

// A restart sets both clocks back and is counted.
func TestRestart(t *testing.T) {
	now := time.Now()
	h := &Host{EngineBoots: 3, Booted: now.Add(-time.Hour)}
	if h.UpTicks(now) != 360_000 || h.engineTime(now) != 3600 {
		t.Errorf("up %d, engine %d", h.UpTicks(now), h.engineTime(now))
	}
	h.Restart(now.Add(-time.Minute))
	if h.UpTicks(now) != 6000 || h.engineTime(now) != 60 || h.engineBoots() != 4 {
		t.Errorf("after a restart: up %d, engine %d, boots %d", h.UpTicks(now), h.engineTime(now), h.engineBoots())
	}
}
