//go:build linux && !alsa

package play

import (
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"net"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"github.com/jfreymuth/pulse/proto"
)

// The protocol is used directly and not through the library's own client:
// that one ends the process when a server hangs up during the first greeting
// or asks for samples of a stream that is just being closed.

// openSystem connects to the first server that answers.
func openSystem(rateHz int, pull func([][2]float64), lost func(error)) (sink, error) {
	servers := serverAddresses(os.Getenv)
	if len(servers) == 0 {
		return nil, errors.New("PULSE_SERVER names no server; expected unix:PATH or tcp:HOST:PORT")
	}
	var failed []string
	for _, a := range servers {
		s := &pulseSink{pull: pull, lost: lost, wanted: make(chan struct{}, 1), dry: make(chan struct{}, 1), done: make(chan struct{})}
		err := s.open(a, rateHz)
		if err == nil {
			return s, nil
		}
		s.close()
		failed = append(failed, fmt.Sprintf("%s (%s)", a.at, bare(err)))
	}
	return nil, fmt.Errorf("no PulseAudio or PipeWire server at %s", strings.Join(failed, ", "))
}

// bare takes the operation and the address off a network error.
func bare(err error) error {
	var op *net.OpError
	if errors.As(err, &op) {
		err = op.Err
	}
	var call *os.SyscallError
	if errors.As(err, &call) {
		err = call.Err
	}
	return err
}

// address is where a server listens, as net.Dial takes it.
type address struct{ network, at string }

// serverAddresses reads PULSE_SERVER, several addresses with an optional
// {machine} in front of each, or names the usual sockets.
func serverAddresses(getenv func(string) string) []address {
	if list := getenv("PULSE_SERVER"); list != "" {
		var out []address
		here, _ := os.Hostname()
		for _, word := range strings.Fields(list) {
			if machine, rest, ok := strings.Cut(word, "}"); ok && strings.HasPrefix(machine, "{") {
				if machine[1:] != here {
					continue
				}
				word = rest
			}
			network, at, ok := strings.Cut(word, ":")
			switch {
			case strings.HasPrefix(word, "/"):
				out = append(out, address{"unix", word})
			case ok && network == "unix" && at != "":
				out = append(out, address{"unix", at})
			case ok && (network == "tcp" || network == "tcp4" || network == "tcp6") && at != "":
				if _, _, err := net.SplitHostPort(at); err != nil {
					at = net.JoinHostPort(strings.Trim(at, "[]"), "4713")
				}
				out = append(out, address{network, at})
			}
		}
		return out
	}
	var out []address
	if dir := getenv("PULSE_RUNTIME_PATH"); dir != "" {
		out = append(out, address{"unix", filepath.Join(dir, "native")})
	}
	dir := getenv("XDG_RUNTIME_DIR")
	if dir == "" {
		dir = fmt.Sprintf("/run/user/%d", os.Getuid())
	}
	return append(out, address{"unix", filepath.Join(dir, "pulse", "native")})
}

// cookie is what the server may ask for; one that asks for none takes any.
func cookie(getenv func(string) string) []byte {
	paths := []string{getenv("PULSE_COOKIE")}
	if dir := getenv("XDG_CONFIG_HOME"); dir != "" {
		paths = append(paths, filepath.Join(dir, "pulse", "cookie"))
	}
	if dir := getenv("HOME"); dir != "" {
		paths = append(paths, filepath.Join(dir, ".config", "pulse", "cookie"), filepath.Join(dir, ".pulse-cookie"))
	}
	const size = 256 // of every cookie
	for _, p := range paths {
		if b, err := os.ReadFile(p); p != "" && err == nil && len(b) == size {
			return b
		}
	}
	return make([]byte, size)
}

// answerWithin is how long a server may think about one request.
const answerWithin = time.Second

// pulseSink is one playback stream of one connection.
type pulseSink struct {
	pull   func([][2]float64)
	lost   func(error)
	conn   net.Conn
	client proto.Client
	stream proto.CreatePlaybackStreamReply
	owed   atomic.Int64  // bytes the server has asked for and not got
	wanted chan struct{} // there are some
	dry    chan struct{}
	done   chan struct{}
	once   sync.Once
	ran    atomic.Int64 // dry
}

func (s *pulseSink) open(a address, rateHz int) error {
	var err error
	if s.conn, err = net.DialTimeout(a.network, a.at, answerWithin); err != nil {
		return err
	}
	s.client.SetTimeout(answerWithin)
	s.client.Callback = s.hear
	s.client.Open(s.conn)
	var auth proto.AuthReply
	if err := s.client.Request(&proto.Auth{Version: s.client.Version(), Cookie: cookie(os.Getenv)}, &auth); err != nil {
		return refusal(err)
	}
	s.client.SetVersion(auth.Version)
	name := proto.PropListString("tachbench")
	if err := s.client.Request(&proto.SetClientName{Props: proto.PropList{"application.name": name}}, &proto.SetClientNameReply{}); err != nil {
		return refusal(err)
	}
	err = s.client.Request(&proto.CreatePlaybackStream{
		SampleSpec:            proto.SampleSpec{Format: proto.FormatFloat32LE, Channels: 2, Rate: uint32(rateHz)},
		ChannelMap:            proto.ChannelMap{proto.ChannelLeft, proto.ChannelRight},
		ChannelVolumes:        proto.ChannelVolumes{uint32(proto.VolumeNorm), uint32(proto.VolumeNorm)},
		SinkIndex:             proto.Undefined,
		BufferMaxLength:       proto.Undefined,
		BufferTargetLength:    bufferBytes(BufferS, rateHz),
		BufferPrebufferLength: proto.Undefined,
		BufferMinimumRequest:  bufferBytes(requestS, rateHz),
		AdjustLatency:         true, // the buffer's length includes the device's own
		Corked:                true,
		Properties:            proto.PropList{"media.name": proto.PropListString("preview"), "application.name": name},
	}, &s.stream)
	return refusal(err)
}

// refusal puts an answer of the server, or none, into words.
func refusal(err error) error {
	var no proto.Error
	switch {
	case err == nil:
		return nil
	case errors.Is(err, proto.ErrAccessDenied):
		return errors.New("it refuses us")
	case errors.Is(err, proto.ErrNoSuchEntity):
		return errors.New("it has no output")
	case errors.As(err, &no):
		return no
	}
	return errors.New("it does not answer")
}

// hear takes what the server says of its own. It must not block: answers come
// the same way.
func (s *pulseSink) hear(message any) {
	switch m := message.(type) {
	case *proto.Request:
		if m.StreamIndex != s.stream.StreamIndex {
			return
		}
		s.owed.Add(int64(m.Length))
		select {
		case s.wanted <- struct{}{}:
		default: // it is awake
		}
	case *proto.Underflow:
		if m.StreamIndex != s.stream.StreamIndex {
			return
		}
		s.ran.Add(1)
		select {
		case s.dry <- struct{}{}:
		default:
		}
	case *proto.PlaybackStreamKilled:
		s.lost(errors.New("the sound server has ended the stream"))
	case *proto.ConnectionClosed:
		s.lost(errors.New("the sound server is gone"))
	}
}

// requestS is the least that the server asks for at a time, seconds: it asks
// often, so that its buffer is nearly full at all times.
const requestS = 0.005

// frameBytes is the size of a frame: two 32-bit floats.
const frameBytes = 2 * 4

func bufferBytes(seconds float64, rateHz int) uint32 {
	return uint32(seconds*float64(rateHz)) * frameBytes
}

// deepen takes more samples ahead after each underrun. The server asks for
// the difference as it asks for all samples.
func (s *pulseSink) deepen() {
	for length := BufferS; length < MostBufferS; {
		select {
		case <-s.dry:
		case <-s.done:
			return
		}
		length = min(length+BufferStepS, MostBufferS)
		// Refused, the buffer stays as it is.
		_ = s.client.Request(&proto.SetPlaybackStreamBufferAttr{
			StreamIndex:           s.stream.StreamIndex,
			BufferMaxLength:       proto.Undefined,
			BufferTargetLength:    bufferBytes(length, int(s.stream.Rate)),
			BufferPrebufferLength: proto.Undefined,
			BufferMinimumRequest:  bufferBytes(requestS, int(s.stream.Rate)),
			AdjustLatency:         true,
		}, &proto.SetPlaybackStreamBufferAttrReply{})
	}
}

func (s *pulseSink) underruns() int64 { return s.ran.Load() }

func (s *pulseSink) start() error {
	s.owed.Add(int64(s.stream.Missing))
	go s.feed()
	go s.deepen()
	return refusal(s.client.Request(&proto.CorkPlaybackStream{StreamIndex: s.stream.StreamIndex, Corked: false}, nil))
}

// feed answers the server's requests for samples until the connection ends.
func (s *pulseSink) feed() {
	samples := make([][2]float64, 512)
	block := make([]byte, len(samples)*frameBytes)
	for {
		for owed := s.owed.Load(); owed >= frameBytes; owed = s.owed.Load() {
			n := int(min(int64(len(samples)), owed/frameBytes))
			s.pull(samples[:n])
			encode(block, samples[:n])
			if err := s.client.Send(s.stream.StreamIndex, block[:n*frameBytes]); err != nil {
				s.lost(errors.New("the sound server is gone"))
				return
			}
			s.owed.Add(int64(-n * frameBytes))
		}
		select {
		case <-s.wanted:
		case <-s.done:
			return
		}
	}
}

// encode writes 32-bit floats, left and right in turn.
func encode(dst []byte, src [][2]float64) {
	for i, f := range src {
		binary.LittleEndian.PutUint32(dst[8*i:], math.Float32bits(float32(f[0])))
		binary.LittleEndian.PutUint32(dst[8*i+4:], math.Float32bits(float32(f[1])))
	}
}

// close ends the connection, and with it the stream.
func (s *pulseSink) close() {
	s.once.Do(func() {
		close(s.done)
		if s.conn != nil {
			s.conn.Close()
		}
	})
}
