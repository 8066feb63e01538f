package survey

import (
	"context"
	"fmt"
	"net/netip"
	"sync/atomic"
	"testing"
	"time"

	"printround/internal/device"
	"printround/internal/discover"
	"printround/internal/snmp"
)

// A device that announces many queues and never answers is waited for twice in
// a run and then left alone, whether the queues come at once or one by one.
func TestMuteDeviceIsLeftAlone(t *testing.T) {
	const queues = 10
	for _, oneByOne := range []bool{false, true} {
		o := &office{}
		via := o.readers()
		asked := make(chan struct{}, queues)
		via.ipp = func(_ context.Context, target IPPTarget, _ ReadOptions) IPPResult {
			o.log("ipp " + target.Path)
			asked <- struct{}{}
			return IPPResult{Reach: device.IPPReach{Tried: true}, Closed: true, Mute: true, Problems: []device.Problem{
				{Address: target.Addr.String(), Stage: "tcp", Message: "no answer"},
			}}
		}
		via.discover = func(_ context.Context, _ discover.Config, found chan<- discover.Candidate) (discover.Stats, error) {
			for i := range queues {
				s := &discover.Service{Instance: "box", Port: 631, TXT: map[string]string{"rp": fmt.Sprintf("q%d", i)}}
				found <- discover.Candidate{Target: target("127.0.9.1"), Service: s}
				if oneByOne && i < maxMute {
					<-asked
				}
			}
			return discover.Stats{}, nil
		}
		s, err := run(t.Context(), Options{NoSNMP: true}, via)
		if err != nil {
			t.Fatal(err)
		}
		if len(o.asked) != maxMute {
			t.Errorf("one by one %v: asked %v, want %d", oneByOne, o.asked, maxMute)
		}
		if len(s.Errors) == 0 || len(s.Errors) > maxMute+1 {
			t.Errorf("one by one %v: errors %+v", oneByOne, s.Errors)
		}
	}
}

// The addresses of one device are asked one after the other: no device has more
// than one SNMP and one IPP request in flight.
func TestCheckAsksOneAddressAtATime(t *testing.T) {
	var now, most atomic.Int32
	via := (&office{}).readers()
	via.ipp = func(context.Context, IPPTarget, ReadOptions) IPPResult { return IPPResult{} }
	via.snmp = func(_ context.Context, at netip.AddrPort, _ []snmp.Credential, _ ReadOptions) SNMPResult {
		most.Store(max(most.Load(), now.Add(1)))
		defer now.Add(-1)
		time.Sleep(2 * time.Millisecond) // long enough for another one to begin, if it may
		return SNMPResult{Views: []device.Device{{Addresses: []netip.Addr{at.Addr()}}}, Indices: []int{1}}
	}
	at := CheckTarget{Query: "box", Targets: []discover.Target{target("127.0.9.1"), target("127.0.9.2"), target("127.0.9.3")}}
	s, err := check(t.Context(), at, Options{Concurrency: 8, Credentials: []snmp.Credential{{}}}, via)
	if err != nil {
		t.Fatal(err)
	}
	if len(s.Devices) != 3 || most.Load() != 1 {
		t.Errorf("%d devices, %d addresses asked at once", len(s.Devices), most.Load())
	}
}

// SNMP and IPP side by side are two requests in flight: while IPP is asked,
// SNMP has no second one, and IPP waits until a second one is answered.
func TestTwoInFlightOverAllProtocols(t *testing.T) {
	asking, done := make(chan struct{}), make(chan struct{})
	via := (&office{}).readers()
	via.ipp = func(_ context.Context, _ IPPTarget, o ReadOptions) IPPResult {
		if o.share.extra.TryAcquire(1) {
			t.Error("IPP was asked without its turn")
		}
		close(asking)
		<-done
		return IPPResult{}
	}
	via.snmp = func(_ context.Context, at netip.AddrPort, _ []snmp.Credential, o ReadOptions) SNMPResult {
		<-asking
		if o.share.extra.TryAcquire(1) {
			t.Error("a second request over SNMP beside the one over IPP")
		}
		close(done)
		if err := o.share.extra.Acquire(t.Context(), 1); err != nil {
			t.Error(err)
		}
		o.share.extra.Release(1)
		return SNMPResult{Views: []device.Device{{Addresses: []netip.Addr{at.Addr()}}}, Indices: []int{1}}
	}
	at := CheckTarget{Query: "box", Targets: []discover.Target{target("127.0.9.1")}}
	if _, err := check(t.Context(), at, Options{Credentials: []snmp.Credential{{}}}, via); err != nil {
		t.Fatal(err)
	}
}

// The time for a device follows what single answers may take (--timeout,
// --retries): it never ends the waiting for one of them.
func TestDeviceLimit(t *testing.T) {
	for _, tt := range []struct {
		timeout time.Duration
		retries int
		want    time.Duration
	}{
		{2 * time.Second, 2, DefaultDeviceTimeout},
		{2 * time.Second, -1, DefaultDeviceTimeout},
		{40 * time.Second, 0, 85 * time.Second},
		{60 * time.Second, 2, 365 * time.Second},
	} {
		if got := DeviceLimit(tt.timeout, tt.retries); got != tt.want {
			t.Errorf("%v, %d retries: %v, want %v", tt.timeout, tt.retries, got, tt.want)
		}
		o := Options{Timeout: tt.timeout, Retries: tt.retries}.withDefaults()
		if o.DeviceTimeout != tt.want {
			t.Errorf("%v, %d retries: a device has %v, want %v", tt.timeout, tt.retries, o.DeviceTimeout, tt.want)
		}
	}
}
