package main

import (
	"bytes"
	"context"
	"fmt"
	"net"
	"os"
	"os/exec"
	"strconv"
	"strings"
	"syscall"

	"golang.org/x/sys/unix"
)

// canIsolate reports whether scenarios can have a network of their own.
func canIsolate() bool { return os.Geteuid() == 0 }

// tie makes a process end with this one, in a new network if asked for. Nothing
// of that network outlives its last process.
func tie(cmd *exec.Cmd, network bool) {
	cmd.SysProcAttr = &syscall.SysProcAttr{Pdeathsig: syscall.SIGKILL}
	if network {
		cmd.SysProcAttr.Cloneflags = syscall.CLONE_NEWNET
	}
}

// loopbackUp brings the loopback interface of a new network up.
func loopbackUp() error {
	fd, err := unix.Socket(unix.AF_INET, unix.SOCK_DGRAM|unix.SOCK_CLOEXEC, 0)
	if err != nil {
		return err
	}
	defer unix.Close(fd)
	ifr, err := unix.NewIfreq("lo")
	if err != nil {
		return err
	}
	if err := unix.IoctlIfreq(fd, unix.SIOCGIFFLAGS, ifr); err != nil {
		return err
	}
	ifr.SetUint16(ifr.Uint16() | unix.IFF_UP)
	return unix.IoctlIfreq(fd, unix.SIOCSIFFLAGS, ifr)
}

// The attached network: the tool's end of the pair and the lab's.
const (
	nearLink, farLink = "v0", "v1"
	nearMAC           = "02:00:00:00:77:01"
	attachedPrefix    = "10.77.0.0/20"
	nearAddress       = "10.77.15.254"
)

// ip runs lines of the program of that name.
func ip(ctx context.Context, lines ...string) error {
	cmd := exec.CommandContext(ctx, "ip", "-batch", "-")
	cmd.Stdin = strings.NewReader(strings.Join(lines, "\n") + "\n")
	if out, err := cmd.CombinedOutput(); err != nil {
		return fmt.Errorf("ip -batch: %w: %s", err, bytes.TrimSpace(out))
	}
	return nil
}

// attachNear makes the pair: one end here, the other in the network of a process.
func attachNear(ctx context.Context, pid int) error {
	return ip(ctx,
		"link add "+nearLink+" address "+nearMAC+" type veth peer name "+farLink+" netns "+strconv.Itoa(pid),
		"addr add "+nearAddress+"/20 dev "+nearLink,
		"link set "+nearLink+" up")
}

// attachFar gives the lab's end its addresses: those of the devices, or all.
func attachFar(ctx context.Context, devices []string, all bool) error {
	lines := []string{
		"link set " + farLink + " up",
		"route add " + nearAddress + "/32 dev " + farLink,
		// Both ends share the system's table of neighbours. On a real network the
		// other hosts have tables of their own: a permanent entry is in nobody's way.
		"neigh replace " + nearAddress + " lladdr " + nearMAC + " dev " + farLink + " nud permanent",
	}
	if all {
		lines = append(lines, "route add local "+attachedPrefix+" dev lo table main")
	} else {
		for _, a := range devices {
			lines = append(lines, "addr add "+a+"/32 dev "+farLink)
		}
	}
	return ip(ctx, lines...)
}

// datagramsSent is how many UDP datagrams this network has sent.
func datagramsSent() (int64, error) {
	text, err := os.ReadFile("/proc/self/net/snmp")
	if err != nil {
		return 0, err
	}
	var names []string
	for line := range strings.Lines(string(text)) {
		f := strings.Fields(line)
		if len(f) == 0 || f[0] != "Udp:" {
			continue
		}
		if names == nil {
			names = f
			continue
		}
		for i, n := range names {
			if n == "OutDatagrams" && i < len(f) {
				return strconv.ParseInt(f[i], 10, 64)
			}
		}
	}
	return 0, fmt.Errorf("no count of datagrams")
}

// peak is the largest resident memory of a process so far, in octets; 0: not
// known. The number that the system gives at the end is that of the process it
// was made from, too, so it cannot be used.
func peak(pid int) int64 {
	text, err := os.ReadFile("/proc/" + strconv.Itoa(pid) + "/status")
	if err != nil {
		return 0
	}
	_, rest, _ := bytes.Cut(text, []byte("VmHWM:"))
	f := bytes.Fields(rest)
	if len(f) == 0 {
		return 0
	}
	kib, _ := strconv.ParseInt(string(f[0]), 10, 64)
	return kib << 10
}

// hasInterface reports whether an interface is there.
func hasInterface(name string) bool {
	_, err := net.InterfaceByName(name)
	return err == nil
}
