package main

import (
	"testing"

	"printround/internal/device"
)

func devices(levels ...device.Attention) []device.Device {
	out := make([]device.Device, len(levels))
	for i, l := range levels {
		out[i] = device.Device{Attention: l}
		out[i].Reached.SNMP.OK = l != device.Silent
	}
	return out
}

// The order is the one in the help: 4, 5, 3, 0.
func TestAttentionStatus(t *testing.T) {
	tests := []struct {
		name   string
		levels []device.Attention
		want   int
	}{
		{"nothing", nil, 0},
		{"clear", []device.Attention{device.Clear}, 0},
		{"due", []device.Attention{device.Clear, device.Due}, 3},
		{"impaired", []device.Attention{device.Impaired, device.Due}, 3},
		{"silent before impaired", []device.Attention{device.Impaired, device.Silent, device.Clear}, 5},
		{"stopped before silent", []device.Attention{device.Silent, device.Stopped, device.Impaired}, 4},
		{"a queue of a server is not ranked", []device.Attention{"", device.Clear}, 0},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			if got := attentionStatus(devices(tt.levels...)); got != tt.want {
				t.Errorf("got %d, want %d", got, tt.want)
			}
		})
	}
}

func TestSweepStatus(t *testing.T) {
	all := device.Scope{Addresses: 254, Answered: 3}
	nobody := device.Scope{Addresses: 254}
	target := device.Problem{Stage: "target", Message: "reversed"}
	name := device.Problem{Stage: "name", Message: "unknown"}
	file := device.Problem{Stage: "file", Message: "unreadable"}
	tests := []struct {
		name     string
		survey   device.Survey
		problems []device.Problem
		exit     bool
		want     int
	}{
		{"whole", device.Survey{Scope: all, Devices: devices(device.Stopped)}, nil, false, 0},
		{"whole, asked for attention", device.Survey{Scope: all, Devices: devices(device.Stopped)}, nil, true, 4},
		{"a stopped queue of a server", device.Survey{Scope: all, Devices: []device.Device{{Role: device.RoleServerQueue, Attention: device.Stopped}}}, nil, true, 0},
		{"partial wins over attention", device.Survey{Scope: all, Partial: true, Devices: devices(device.Stopped)}, nil, true, 1},
		{"no answer at all", device.Survey{Scope: nobody}, nil, false, 5},
		{"only expected ones, silent", device.Survey{Scope: nobody, Devices: devices(device.Silent)}, nil, false, 5},
		{"a switch answered", device.Survey{Scope: device.Scope{Addresses: 1, Answered: 1}}, nil, false, 0},
		{"found over DNS-SD only", device.Survey{Scope: nobody, Devices: devices(device.Clear)}, nil, false, 0},
		{"no target can be meant", device.Survey{Partial: true}, []device.Problem{name, target}, false, 2},
		{"unknown names only", device.Survey{Partial: true}, []device.Problem{name}, false, 5},
		{"a file that cannot be read", device.Survey{Partial: true}, []device.Problem{name, file}, false, 1},
		{"one of several targets", device.Survey{Scope: all, Partial: true}, []device.Problem{target}, false, 1},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			p := &plan{problems: tt.problems, show: &showFlags{exitAttention: tt.exit}}
			if got := p.sweepStatus(&tt.survey); got != tt.want {
				t.Errorf("got %d, want %d", got, tt.want)
			}
		})
	}
}

func TestProblemLine(t *testing.T) {
	tests := []struct{ address, message, want string }{
		{"", "no multicast interface", "no multicast interface"},
		{"10.0.0.9", "no SNMP answer", "10.0.0.9: no SNMP answer"},
		{"10.0.0.9", "10.0.0.9: no SNMP answer", "10.0.0.9: no SNMP answer"},
		{"10.0.0.9", "10.0", "10.0.0.9: 10.0"},
	}
	for _, tt := range tests {
		if got := problemLine(device.Problem{Address: tt.address, Message: tt.message}); got != tt.want {
			t.Errorf("got %q, want %q", got, tt.want)
		}
	}
}

func TestLeftOut(t *testing.T) {
	p := func(stages ...string) (out []device.Problem) {
		for _, s := range stages {
			out = append(out, device.Problem{Stage: s})
		}
		return out
	}
	tests := []struct {
		problems []device.Problem
		want     string
	}{
		{p("target"), "1 target left out: see the errors"},
		{p("target", "name"), "2 targets left out: see the errors"},
		{p("file"), "1 file or site not usable: see the errors"},
		{p("name", "file", "survey"), "1 target left out, 2 files or sites not usable: see the errors"},
	}
	for _, tt := range tests {
		if got := leftOut(tt.problems); got != tt.want {
			t.Errorf("got %q, want %q", got, tt.want)
		}
	}
}
