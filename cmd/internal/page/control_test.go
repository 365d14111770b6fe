package page

import (
	"math"
	"strings"
	"testing"
)

func TestParseControl(t *testing.T) {
	for _, c := range []struct {
		text string
		want control
		err  string
	}{
		{`{"do":"start"}`, control{do: "start"}, ""},
		{`{"do":"start","take":true}`, control{do: "start", take: true}, ""},
		{`{"do":"played","frames":480,"underruns":2}`, control{do: "played", frames: 480, underrun: 2}, ""},
		{`{"do":"lever","value":0.5,"seq":7}`, control{do: "lever", value: 0.5, seq: 7}, ""},
		{`{"do":"lever","value":7,"seq":4294967295}`, control{do: "lever", value: 1, seq: math.MaxUint32}, ""},
		{`{"do":"slide","rpm":1e9,"load":-1,"seq":0}`, control{do: "slide", rpm: maxRPM}, ""},
		{`{"do":"drive","by":"slider"}`, control{do: "drive", drive: "slider"}, ""},
		{`{"do":"play","scene":"launch","loop":true}`, control{do: "play", scene: "launch", on: true}, ""},
		{`{"do":"play","scene":"launch"}`, control{do: "play", scene: "launch"}, ""},
		{`{"do":"meet","callout":1,"step":2}`, control{do: "meet", callout: 1, step: 2}, ""},
		{`{"do":"planned","on":true}`, control{do: "planned", on: true}, ""},
		{`{"do":"fader","category":"music","level_db":-99}`, control{do: "fader", category: "music", db: -60}, ""},
		{`{"do":"solo","category":"music","on":false}`, control{do: "solo", category: "music"}, ""},
		{`{"do":"volume","db":3}`, control{do: "volume"}, ""},
		{` {"do":"silence"} `, control{do: "silence"}, ""},

		{``, control{}, "not a message"},
		{`null`, control{}, `unknown or missing "do"`},
		{`{}`, control{}, `unknown or missing "do"`},
		{`[]`, control{}, "not a message"},
		{`{"do":"explode"}`, control{}, `unknown or missing "do"`},
		{`{"do":"start","more":1}`, control{}, "not a message"},
		{`{"do":"start"}{"do":"stop"}`, control{}, "more than one"},
		{`{"do":"start"} x`, control{}, "more than one"},
		{`{"do":"lever","value":1}`, control{}, "lever: seq is missing"},
		{`{"do":"lever","value":"1","seq":1}`, control{}, "not a message"},
		{`{"do":"lever","value":1,"seq":-1}`, control{}, "not a message"},
		{`{"do":"lever","value":1,"seq":4294967296}`, control{}, "not a message"},
		{`{"do":"lever","value":1e999,"seq":1}`, control{}, "not a message"},
		{`{"do":"slide","seq":1}`, control{}, "slide: rpm, load is missing"},
		{`{"do":"drive","by":"nobody"}`, control{}, "drive: by must be"},
		{`{"do":"drive"}`, control{}, "drive: by is missing"},
		{`{"do":"played","frames":-1,"underruns":0}`, control{}, "out of range"},
		{`{"do":"played","frames":0,"underruns":9007199254740993}`, control{}, "out of range"},
		{`{"do":"played","frames":0.5,"underruns":0}`, control{}, "not a message"},
		{`{"do":"hall"}`, control{}, "hall: on is missing"},
		{`{"do":"mute","on":true}`, control{}, "mute: category is missing"},
		{`{"do":"volume"}`, control{}, "volume: db is missing"},
	} {
		got, err := parseControl([]byte(c.text))
		if c.err != "" {
			if err == nil || !strings.Contains(err.Error(), c.err) {
				t.Errorf("%s: %v, want %q", c.text, err, c.err)
			}
			continue
		}
		if err != nil || got != c.want {
			t.Errorf("%s: %+v %v, want %+v", c.text, got, err, c.want)
		}
	}
}

// Whatever is sent: no panic, a reason that fits into a close frame (RFC 6455,
// 5.5: 125 bytes less the code), and numbers in their ranges.
func FuzzParseControl(f *testing.F) {
	for _, s := range []string{
		`{"do":"lever","value":0.5,"seq":7}`, `{"do":"slide","rpm":-1e308,"load":2,"seq":1}`, `{"do":"played","frames":1,"underruns":2}`,
		`{"do":"fader","category":"\u0000","level_db":1e400}`, `{"do":`, `{"DO":"start"}`, "\xff", `{"do":"meet","callout":-1,"step":99999999999999999999}`,
	} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		c, err := parseControl(text)
		if err != nil {
			if n := len(err.Error()); n == 0 || n > 123 || strings.ContainsAny(err.Error(), "\r\n") {
				t.Fatalf("reason %q", err)
			}
			return
		}
		if !(c.value >= 0 && c.value <= 1 && c.load >= 0 && c.load <= 1 && c.rpm >= 0 && c.rpm <= maxRPM && c.db >= -60 && c.db <= 12 && c.frames >= 0 && c.underrun >= 0) {
			t.Fatalf("%+v", c)
		}
		if c.do == "volume" && c.db > 0 {
			t.Fatalf("volume %g dB", c.db)
		}
	})
}
