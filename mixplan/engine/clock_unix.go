//go:build unix

package engine

import (
	"syscall"
	"time"
)

// busy returns the processor time this process has used: what work costs,
// whatever else the machine is doing.
func busy() time.Duration {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		return time.Duration(time.Now().UnixNano())
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}
