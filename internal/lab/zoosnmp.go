package lab

import (
	"bytes"
	"sync"
	"time"

	"printround/internal/lab/agent"
)

// bent is what an agent says in place of its answer; n counts the requests,
// from 1. Requests of version 3 are answered in the usual way.
type bent func(n int, h *agent.Host, req, answer *agent.Message) []agent.Datagram

func overAgent(name, help string, make func() bent) misbehaviour {
	return misbehaviour{Misbehaviour{name, overSNMP, help}, func(o *oddity) {
		bend, n := make(), 0
		o.snmp = &agent.Odd{Around: func(h *agent.Host, request []byte, honest func([]byte) []byte) []agent.Datagram {
			req, err := agent.ReadMessage(request)
			if err != nil {
				return atOnce(honest(request))
			}
			own := honest(request)
			if own == nil {
				return nil
			}
			answer, err := agent.ReadMessage(own)
			if err != nil {
				return nil
			}
			n++
			return bend(n, h, req, answer)
		}}
	}}
}

// atOnce sends something at once; nil sends nothing.
func atOnce(b []byte) []agent.Datagram {
	if b == nil {
		return nil
	}
	return []agent.Datagram{{Payload: b}}
}

// everyAnswer bends every answer in the same way.
func everyAnswer(change func(req, answer *agent.Message)) func() bent {
	return func() bent {
		return func(_ int, _ *agent.Host, req, answer *agent.Message) []agent.Datagram {
			change(req, answer)
			return atOnce(answer.Bytes())
		}
	}
}

// refused answers everything with an error status and the request's own
// bindings.
func refused(status, index int64) func() bent {
	return everyAnswer(func(req, answer *agent.Message) { answer.Status, answer.Index, answer.Binds = status, index, req.Binds })
}

// makesUp answers names with what next makes of them.
func makesUp(next func(agent.OID) agent.OID) func() bent {
	return everyAnswer(func(req, answer *agent.Message) {
		answer.Status, answer.Index, answer.Binds = 0, 0, nil
		single, rounds := len(req.Binds), 0
		if req.Bulk() {
			single, rounds = min(int(req.Status), len(req.Binds)), int(req.Index)
		}
		last := make([]agent.OID, len(req.Binds))
		put := func(i int) {
			last[i] = next(last[i])
			answer.Binds = append(answer.Binds, agent.Bind{Name: last[i], Value: agent.Integer(7)})
		}
		for i, b := range req.Binds {
			if last[i] = b.Name; i < single {
				put(i)
			}
		}
		for range rounds {
			for i := single; i < len(last) && len(answer.Binds) < 60; i++ {
				put(i)
			}
		}
	})
}

// onward is a name behind o that has a successor of its own, for ever, in
// columns with two index numbers.
func onward(o agent.OID) agent.OID {
	if n := len(o); n >= 13 {
		o = o.With()
		o[n-1]++
		return o
	}
	for len(o) < 13 {
		o = o.With(1)
	}
	return o
}

// Sizes and times of the misbehaviours.
const (
	stopsAfter = 4000             // octets of answers
	lateBy     = 30 * time.Second // longer than a reader waits
	overtakes  = 40 * time.Millisecond
	longText   = 60_000 // octets; a datagram over IPv4 has at most 65,507
	nested     = 8_000  // levels
)

var zooSNMP = []misbehaviour{
	overAgent("snmp-stops", "falls silent for good after 4,000 octets of answers", func() bent {
		left := stopsAfter
		return func(_ int, _ *agent.Host, _, answer *agent.Message) []agent.Datagram {
			if left <= 0 {
				return nil
			}
			b := answer.Bytes()
			left -= len(b)
			return atOnce(b)
		}
	}),
	overAgent("snmp-late", "answers half a minute after it was asked", func() bent {
		return func(_ int, _ *agent.Host, _, answer *agent.Message) []agent.Datagram {
			return []agent.Datagram{{Payload: answer.Bytes(), After: lateBy}}
		}
	}),
	overAgent("snmp-duplicates", "sends every answer three times", func() bent {
		return func(_ int, _ *agent.Host, _, answer *agent.Message) []agent.Datagram {
			b := answer.Bytes()
			return []agent.Datagram{{Payload: b}, {Payload: b}, {Payload: b}}
		}
	}),
	overAgent("snmp-reorders", "lets every second answer overtake the one before it", func() bent {
		return func(n int, _ *agent.Host, _, answer *agent.Message) []agent.Datagram {
			return []agent.Datagram{{Payload: answer.Bytes(), After: time.Duration(n%2+1) * overtakes / 2}}
		}
	}),
	overAgent("snmp-drops", "loses every third request", func() bent {
		return func(n int, _ *agent.Host, _, answer *agent.Message) []agent.Datagram {
			if n%3 == 0 {
				return nil
			}
			return atOnce(answer.Bytes())
		}
	}),
	overAgent("snmp-wrong-id", "answers with another request-id", everyAnswer(func(_, answer *agent.Message) { answer.ID++ })),
	overAgent("snmp-wrong-community", "answers with another community", everyAnswer(func(_, answer *agent.Message) { answer.Community = "somebody" })),
	overAgent("snmp-no-such-name", "answers everything with noSuchName", refused(agent.StatusNoSuchName, 1)),
	overAgent("snmp-too-big", "answers everything with tooBig", refused(agent.StatusTooBig, 0)),
	overAgent("snmp-no-bulk", "does not answer GetBulk", func() bent {
		return func(_ int, _ *agent.Host, req, answer *agent.Message) []agent.Datagram {
			if req.Bulk() {
				return nil
			}
			return atOnce(answer.Bytes())
		}
	}),
	overAgent("snmp-bulk-one-row", "answers GetBulk with one row whatever was asked for", everyAnswer(func(req, answer *agent.Message) {
		if req.Bulk() {
			answer.Binds = answer.Binds[:min(len(req.Binds), len(answer.Binds))]
		}
	})),
	overAgent("snmp-repeats", "answers with the names it was asked for", makesUp(func(o agent.OID) agent.OID { return o })),
	overAgent("snmp-decreases", "answers with names before those it was asked for", makesUp(func(o agent.OID) agent.OID { return o[:max(len(o)-1, 2)] })),
	overAgent("snmp-endless-tables", "has a next row behind every row", makesUp(onward)),
	{Misbehaviour{"snmp-rows-come-and-go", overSNMP, "shows the odd and the even rows of its tables in turn"}, func(o *oddity) {
		n := uint32(0)
		o.snmp = &agent.Odd{Around: func(h *agent.Host, request []byte, honest func([]byte) []byte) []agent.Datagram {
			n++
			whole := h.Tree()
			h.Serve(whole.Lacks(func(o agent.OID) bool {
				return len(o) >= 13 && o.HasPrefix(oidPrinter) && o[len(o)-1]%2 == n%2
			}))
			defer h.Serve(whole)
			return atOnce(honest(request))
		}}
	}},
	overAgent("snmp-long-texts", "answers a text with 60,000 octets of it", everyAnswer(func(_, answer *agent.Message) {
		for i, b := range answer.Binds {
			if b.Value.Tag == agent.TagOctets && plainText(b.Value.Body) {
				answer.Binds[i].Value = agent.Octets(bytes.Repeat([]byte("x"), longText))
				answer.Binds = answer.Binds[:i+1]
				return
			}
		}
	})),
	overAgent("snmp-wrong-lengths", "encodes lengths that are longer or shorter than what follows", func() bent {
		return func(n int, _ *agent.Host, _, answer *agent.Message) []agent.Datagram {
			b := answer.Bytes()
			switch head := int(b[1]&0x7f) * int(b[1]>>7); {
			case n%3 == 0 && head > 0:
				b[1+head] += 40
			case n%3 == 1:
				b = b[:len(b)*2/3]
			default:
				b[2+head+4] = 0x7f // of the community
			}
			return atOnce(b)
		}
	}),
	overAgent("snmp-indefinite-lengths", "encodes with the indefinite form, which SNMP does not allow", func() bent {
		return func(_ int, _ *agent.Host, _, answer *agent.Message) []agent.Datagram {
			b := answer.Bytes()
			head := int(b[1]&0x7f) * int(b[1]>>7)
			return atOnce(append(append([]byte{b[0], 0x80}, b[2+head:]...), 0, 0))
		}
	}),
	overAgent("snmp-deep-nesting", "nests 8,000 levels of BER in each value", everyAnswer(func(_, answer *agent.Message) {
		if len(answer.Binds) == 0 {
			return
		}
		answer.Binds = answer.Binds[:1]
		answer.Binds[0].Value = agent.Raw(0x30, deep())
	})),
	overAgent("snmp-reboots", "restarts at the third request and counts its time anew", func() bent {
		return func(n int, h *agent.Host, _, answer *agent.Message) []agent.Datagram {
			if n == 3 {
				h.Restart(time.Now())
				return nil
			}
			return atOnce(answer.Bytes())
		}
	}),
}

// deep is a sequence in a sequence, and so on.
var deep = sync.OnceValue(func() []byte {
	var body []byte
	for left := nested - 1; left >= 0; left-- {
		body = append(body, 0x30, 0x82, byte(4*left>>8), byte(4*left))
	}
	return body
})

func v3(name, help string, make func() *agent.Odd) misbehaviour {
	return misbehaviour{Misbehaviour{name, overV3, help}, func(o *oddity) { o.snmp = make() }}
}

var zooV3 = []misbehaviour{
	v3("v3-time-jumps", "its engine's time jumps a day ahead with every message", func() *agent.Odd { return &agent.Odd{Jump: 86_400} }),
	v3("v3-new-engines", "reports an unknown engine and shows a new one, every time", func() *agent.Odd { return &agent.Odd{NewEngine: true} }),
	v3("v3-reports", "answers with reports that say nothing known", func() *agent.Odd {
		return &agent.Odd{Report: agent.MustOID("1.3.6.1.6.3.15.1.1.77")}
	}),
	v3("v3-downgrade", "answers without privacy what was asked with it", func() *agent.Odd { return &agent.Odd{Weaken: true} }),
}
