//go:build linux && !alsa

package play

import (
	"encoding/binary"
	"fmt"
	"math"
	"net"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"
)

// The forms are those of PulseAudio's documentation of server strings,
// https://www.freedesktop.org/wiki/Software/PulseAudio/Documentation/User/ServerStrings/
// (from memory), with its port 4713.
func TestServerAddresses(t *testing.T) {
	here, _ := os.Hostname()
	user := fmt.Sprintf("/run/user/%d/pulse/native", os.Getuid())
	for _, c := range []struct {
		env  map[string]string
		want []address
	}{
		{map[string]string{"XDG_RUNTIME_DIR": "/run/x"}, []address{{"unix", "/run/x/pulse/native"}}},
		{nil, []address{{"unix", user}}},
		{map[string]string{"PULSE_RUNTIME_PATH": "/p", "XDG_RUNTIME_DIR": "/run/x"}, []address{{"unix", "/p/native"}, {"unix", "/run/x/pulse/native"}}},
		{map[string]string{"PULSE_SERVER": "/a unix:/b"}, []address{{"unix", "/a"}, {"unix", "/b"}}},
		{map[string]string{"PULSE_SERVER": "tcp:box tcp:box:99 tcp6:[::1]:7 tcp4:1.2.3.4"}, []address{{"tcp", "box:4713"}, {"tcp", "box:99"}, {"tcp6", "[::1]:7"}, {"tcp4", "1.2.3.4:4713"}}},
		{map[string]string{"PULSE_SERVER": "{elsewhere-not-here}unix:/a {" + here + "}unix:/b"}, []address{{"unix", "/b"}}},
		{map[string]string{"PULSE_SERVER": "nonsense unix: { {x tcp:"}, nil},
	} {
		if got := serverAddresses(func(k string) string { return c.env[k] }); !reflect.DeepEqual(got, c.want) {
			t.Errorf("%v: %v, not %v", c.env, got, c.want)
		}
	}
}

func TestEncode(t *testing.T) {
	b := make([]byte, 16)
	encode(b, [][2]float64{{0.5, -0.25}, {1, 0}})
	for i, want := range []float32{0.5, -0.25, 1, 0} {
		if got := math.Float32frombits(binary.LittleEndian.Uint32(b[4*i:])); got != want {
			t.Errorf("%d: %g", i, got)
		}
	}
}

// Whatever listens at the address, the answer is one line and comes soon.
func TestServersThatAreNone(t *testing.T) {
	listen := func(serve func(net.Conn)) string {
		l, err := net.Listen("unix", filepath.Join(t.TempDir(), "s"))
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { l.Close() })
		go func() {
			for {
				c, err := l.Accept()
				if err != nil {
					return
				}
				go serve(c)
			}
		}()
		return l.Addr().String()
	}
	for name, c := range map[string]struct{ at, want string }{
		"nothing":   {"unix:" + filepath.Join(t.TempDir(), "none"), "(no such file or directory)"},
		"hangs up":  {listen(func(c net.Conn) { c.Close() }), "(it does not answer)"},
		"says hush": {listen(func(net.Conn) {}), "(it does not answer)"},
		"other talk": {listen(func(c net.Conn) {
			fmt.Fprint(c, "HTTP/1.1 400 Bad Request\r\nContent-Length: 0\r\n\r\n")
			c.Close()
		}), "(it does not answer)"},
		"nonsense": {"carrier-pigeon", "PULSE_SERVER names no server"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Setenv("PULSE_SERVER", c.at)
			begun := time.Now()
			_, err := Open(48000)
			if err == nil || !strings.HasPrefix(err.Error(), "no sound device: ") || !strings.Contains(err.Error(), c.want) || strings.Contains(err.Error(), "\n") {
				t.Errorf("%v", err)
			}
			if took := time.Since(begun); took > 2500*time.Millisecond {
				t.Errorf("took %v", took)
			}
		})
	}
}
