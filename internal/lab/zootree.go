package lab

import (
	"sync/atomic"
	"time"

	"printround/internal/lab/agent"
)

// Columns of the Printer MIB that misbehave (RFC 3805 section 6).
var (
	oidLifeCount   = oidPrinter.With(10, 2, 1, 4)
	oidSuppliesMax = oidPrinter.With(11, 1, 1, 8)
	oidSuppliesNow = oidPrinter.With(11, 1, 1, 9)
	oidAlerts      = oidPrinter.With(18, 1, 1)
	oidLanguage    = oidPrinter.With(7, 1, 1, 2)
	oidCountry     = oidPrinter.With(7, 1, 1, 3)
	oidErrorBits   = oidHrPrinter.With(2)
	oidIfAddress   = oidIfEntry.With(6)
)

// values changes the values of a tree; f returns false for one that stays.
func values(f func(o agent.OID, v agent.Value) (agent.Value, bool)) func(*agent.Host, *agent.Tree, time.Time) *agent.Tree {
	return func(h *agent.Host, t *agent.Tree, now time.Time) *agent.Tree {
		return t.Map(h, now, f).Build()
	}
}

// texts changes the words of a tree and leaves codes and addresses.
func texts(bad func(string) string) func(*agent.Host, *agent.Tree, time.Time) *agent.Tree {
	return values(func(o agent.OID, v agent.Value) (agent.Value, bool) {
		for _, code := range []agent.OID{oidLanguage, oidCountry, oidErrorBits, oidIfAddress, oidHrSystem} {
			if o.HasPrefix(code) {
				return v, false
			}
		}
		if v.Tag != agent.TagOctets || !plainText(v.Body) {
			return v, false
		}
		return agent.Text(bad(string(v.Body))), true
	})
}

func grown(name, help string, f func(o agent.OID, v agent.Value) (agent.Value, bool)) misbehaviour {
	return misbehaviour{Misbehaviour{name, overSNMP, help}, func(o *oddity) { o.tree = values(f) }}
}

// turning serves a life count that depends on how often the device has been
// read: from 0. A reading begins with the question for the Printer MIB.
func turning(name, help string, count func(read uint32, honest uint32) uint32) misbehaviour {
	return misbehaviour{Misbehaviour{name, overSNMP, help}, func(o *oddity) {
		var read atomic.Uint32
		o.snmp = &agent.Odd{Around: func(_ *agent.Host, request []byte, honest func([]byte) []byte) []agent.Datagram {
			if m, err := agent.ReadMessage(request); err == nil {
				for _, b := range m.Binds {
					if len(b.Name) == len(oidPrinter) && b.Name.HasPrefix(oidPrinter) {
						read.Add(1)
					}
				}
			}
			return atOnce(honest(request))
		}}
		o.tree = func(h *agent.Host, t *agent.Tree, now time.Time) *agent.Tree {
			b := t.Copy()
			_ = t.Walk(h, now, func(o agent.OID, v agent.Value) error {
				if o.HasPrefix(oidLifeCount) {
					honest := uint32(0)
					for _, c := range v.Body {
						honest = honest<<8 | uint32(c)
					}
					live := func(*agent.Host, time.Time) agent.Value {
						return agent.Counter32(count(max(read.Load(), 1)-1, honest))
					}
					n := len(oidLifeCount)
					b.PutLive(o[:n:n], live, o[n:]...)
				}
				return nil
			})
			return b.Build()
		}
	}}
}

const manyAlerts = 10_000

var zooTree = []misbehaviour{
	turning("snmp-counter-wraps", "its life count goes from 2^32 - 6 to 0 and on", func(read, _ uint32) uint32 { return 1<<32 - 6 + 10*read }),
	turning("snmp-counter-resets", "its life count begins anew after the first reading", func(read, honest uint32) uint32 {
		if read == 0 {
			return honest
		}
		return 10 * read
	}),
	grown("snmp-huge-numbers", "levels, capacities and the life count have more than 32 bits", func(o agent.OID, v agent.Value) (agent.Value, bool) {
		switch {
		case o.HasPrefix(oidSuppliesNow) || o.HasPrefix(oidSuppliesMax):
			return agent.Wide(1 << 40), true
		case o.HasPrefix(oidLifeCount):
			return agent.Raw(agent.TagCounter32, []byte{0, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff}), true
		}
		return v, false
	}),
	grown("snmp-negative-capacity", "the capacities of its supplies are negative", func(o agent.OID, v agent.Value) (agent.Value, bool) {
		return agent.Integer(-500), o.HasPrefix(oidSuppliesMax)
	}),
	grown("snmp-level-over-capacity", "its supplies hold more than they can", func(o agent.OID, v agent.Value) (agent.Value, bool) {
		return agent.Integer(2_000_000_000), o.HasPrefix(oidSuppliesNow)
	}),
	grown("snmp-wrong-types", "numbers of its supplies are texts and their texts are numbers", func(o agent.OID, v agent.Value) (agent.Value, bool) {
		switch {
		case !o.HasPrefix(oidPrinter.With(11, 1, 1)):
			return v, false
		case v.Tag == agent.TagOctets:
			return agent.Integer(4), true
		}
		return agent.Text("full"), true
	}),
	{Misbehaviour{"snmp-10000-alerts", overSNMP, "its alert table has 10,000 rows"}, func(o *oddity) {
		o.tree = func(_ *agent.Host, t *agent.Tree, _ time.Time) *agent.Tree {
			b := t.Copy()
			for n := range uint32(manyAlerts) {
				for column, v := range []int{2: 4, 3: 3, 4: 8, 5: 1, 6: -1, 7: 13} {
					if v != 0 {
						b.Put(oidAlerts.With(uint32(column)), agent.Integer(v), 1, n+1)
					}
				}
				b.Put(oidAlerts.With(8), agent.Text("again"), 1, n+1)
			}
			return b.Build()
		}
	}},
}
