package alonetest

import (
	"errors"
	"fmt"
	"os"
	"os/exec"
	"runtime"
	"syscall"

	"golang.org/x/sys/unix"
)

// inside marks the process that already has a network of its own.
const inside = "PRINTROUND_TEST_ALONE"

// isolated runs this test binary again in namespaces of its own. ran is false
// when the tests are to run in this process: it is the second one already, or
// the system refuses.
func isolated() (status int, ran bool) {
	if os.Getenv(inside) != "" {
		if err := prepare(); err != nil {
			fmt.Fprintln(os.Stderr, "a network of their own for the tests:", err)
			return 1, true
		}
		return 0, false
	}
	if os.Geteuid() != 0 {
		return 0, false
	}
	// The kernel ends the child with the thread that started it.
	runtime.LockOSThread()
	defer runtime.UnlockOSThread()
	cmd := exec.Command(os.Args[0], os.Args[1:]...)
	cmd.Env = append(os.Environ(), inside+"=1")
	cmd.Stdin, cmd.Stdout, cmd.Stderr = os.Stdin, os.Stdout, os.Stderr
	cmd.SysProcAttr = &syscall.SysProcAttr{
		Cloneflags: unix.CLONE_NEWNET | unix.CLONE_NEWNS,
		Pdeathsig:  syscall.SIGKILL,
	}
	if err := cmd.Start(); err != nil {
		return 0, false // no namespaces here
	}
	err := cmd.Wait()
	var exit *exec.ExitError
	switch {
	case err == nil:
		return 0, true
	case errors.As(err, &exit) && exit.ExitCode() >= 0:
		return exit.ExitCode(), true
	}
	fmt.Fprintln(os.Stderr, err)
	return 1, true
}

// prepare brings up the new loopback interface, with a route for multicast,
// and puts an empty folder over the one in which responders keep their state.
// It does nothing when the process inherited what is there already.
func prepare() error {
	s, err := unix.Socket(unix.AF_INET, unix.SOCK_DGRAM|unix.SOCK_CLOEXEC, 0)
	if err != nil {
		return err
	}
	defer unix.Close(s)
	ifr, err := unix.NewIfreq("lo")
	if err != nil {
		return err
	}
	if err := unix.IoctlIfreq(s, unix.SIOCGIFFLAGS, ifr); err != nil {
		return err
	}
	if ifr.Uint16()&unix.IFF_UP != 0 {
		return nil
	}
	ifr.SetUint16(ifr.Uint16() | unix.IFF_UP)
	if err := unix.IoctlIfreq(s, unix.SIOCSIFFLAGS, ifr); err != nil {
		return err
	}
	if err := unix.Mount("", "/", "", unix.MS_REC|unix.MS_PRIVATE, ""); err != nil {
		return err
	}
	return unix.Mount("tmpfs", "/run", "tmpfs", 0, "mode=0755")
}
