package agent

import (
	"sync/atomic"
	"time"
)

// MaxMessage is the largest answer, in octets of UDP payload: what fits an
// Ethernet frame with IPv4 and UDP headers.
const MaxMessage = 1472

// Host is one simulated machine as the agent sees it. Its fields are set
// before the first request and not changed afterwards; the tree may be.
type Host struct {
	V1, V2c     bool
	Communities []string
	Users       []*User // v3 is answered when there is one
	EngineID    []byte  // 5 to 32 octets (RFC 3411 section 5, SnmpEngineID)
	EngineBoots int32
	Booted      time.Time // sysUpTime and snmpEngineTime count from here
	ID          uint32    // for Live values of hosts that share a tree
	Refused     func(what string)

	tree     atomic.Pointer[Tree]
	usmStats [7]atomic.Uint32 // by the last arc of usmStats (RFC 3414 section 5)

	odd       atomic.Pointer[Odd]
	restarted atomic.Int64 // Unix nanoseconds of the last Restart; 0: none
	restarts  atomic.Int32
}

// Serve replaces the tree that the host answers from.
func (h *Host) Serve(t *Tree) { h.tree.Store(t) }

// Tree returns the tree that the host answers from.
func (h *Host) Tree() *Tree { return h.tree.Load() }

// UpTicks is sysUpTime: hundredths of a second, modulo 2^32.
func (h *Host) UpTicks(now time.Time) uint32 {
	return uint32(now.Sub(h.booted()) / (10 * time.Millisecond))
}

func (h *Host) knows(community []byte) bool {
	for _, c := range h.Communities {
		if c == string(community) {
			return true
		}
	}
	return false
}

func (h *Host) refuse(what string) {
	if h.Refused != nil {
		h.Refused(what)
	}
}
