//go:build !unix

package engine

import "time"

// busy returns the time on the clock where processor time is not to be had.
func busy() time.Duration { return time.Duration(time.Now().UnixNano()) }
