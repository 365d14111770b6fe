package page

import (
	"net"
	"sync"
	"sync/atomic"
	"time"
)

// crowd is a listener that turns away what exceeds a number of connections at
// a time, so that nobody can use up the files of the process.
type crowd struct {
	net.Listener
	most int64
	open atomic.Int64
}

// unreadBytes bounds what waits in the system for a browser that does not
// read: half a second of sound at 48 kHz.
const unreadBytes = 192 << 10

// Answer to a connection too many: it has not been read, so it is closed.
const tooMany = "HTTP/1.1 503 Service Unavailable\r\nConnection: close\r\nContent-Type: text/plain\r\nContent-Length: 31\r\n\r\nToo many connections at a time\n"

func (c *crowd) Accept() (net.Conn, error) {
	for {
		conn, err := c.Listener.Accept()
		if err != nil {
			return nil, err
		}
		if c.open.Add(1) <= c.most {
			if tcp, ok := conn.(*net.TCPConn); ok {
				_ = tcp.SetWriteBuffer(unreadBytes) // the system's own would do too
			}
			return &member{Conn: conn, leave: sync.OnceFunc(func() { c.open.Add(-1) })}, nil
		}
		c.open.Add(-1)
		_ = conn.SetWriteDeadline(time.Now().Add(100 * time.Millisecond))
		_, _ = conn.Write([]byte(tooMany))
		_ = conn.Close()
	}
}

type member struct {
	net.Conn
	leave func()
}

func (m *member) Close() error {
	m.leave()
	return m.Conn.Close()
}
