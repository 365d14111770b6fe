package cli

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"io"
	"net"
	"net/http"
	"net/http/cookiejar"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"tachbench/mixplan"
	"tachbench/samples/sheet"
	"tachbench/samples/wav"
)

func TestPageOptions(t *testing.T) {
	for _, c := range []struct {
		args string
		want pageOptions
	}{
		{"s.toml", pageOptions{sheet: "s.toml"}},
		{"s.toml --plan p.toml --open --seed 4 --port 8080", pageOptions{sheet: "s.toml", plan: "p.toml", open: true, seed: 4, port: 8080}},
		{"s.toml --expose-on ::1", pageOptions{sheet: "s.toml", expose: "::1"}},
	} {
		var got pageOptions
		cmd := newPage(Streams{}, func(_ context.Context, _ Streams, o pageOptions) error {
			got = o
			return nil
		})
		cmd.SetArgs(strings.Fields(c.args))
		if err := cmd.Execute(); err != nil || got != c.want {
			t.Errorf("%q: %+v %v, want %+v", c.args, got, err, c.want)
		}
	}
}

// A fault in planning is one line on the page and does not end it.
func TestFaultWhilePlanningIsSpared(t *testing.T) {
	err := spared(func() error { panic("index out of range\n\ngoroutine 1") })
	if err == nil || err.Error() != "a fault of tachbench itself while planning: index out of range" {
		t.Error(err)
	}
	if err := spared(func() error { return io.EOF }); err != io.EOF {
		t.Error(err)
	}
}

// A given plan is heard from the start.
func TestPageBeginsPlanned(t *testing.T) {
	sh, err := sheet.Parse("soundsheet.toml", []byte("sample_rate = 48000\nbit_depth = 16\n"), t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	for _, plan := range []*mixplan.Plan{nil, {}} {
		b, _, _, err := newBench(t.Context(), sh, plan, false, 0)
		if err != nil {
			t.Fatal(err)
		}
		if got := b.Snapshot(); got.Planned != (plan != nil) || got.HasPlan != (plan != nil) {
			t.Errorf("with the plan %v: planned %t of %t", plan, got.Planned, got.HasPlan)
		}
	}
}

// A page is up, shows its plan when that is ready, says so when its port is
// taken, and ends with the status of an interrupt within a second of one.
func TestPageServes(t *testing.T) {
	dir := t.TempDir()
	f, err := os.Create(filepath.Join(dir, "go.wav"))
	if err != nil {
		t.Fatal(err)
	}
	s := fineSound(1)
	if err := errors.Join(wav.Encode(f, s, wav.SpecOf(s, 16)), f.Close()); err != nil {
		t.Fatal(err)
	}
	sheet := filepath.Join(dir, "soundsheet.toml")
	if err := os.WriteFile(sheet, []byte("sample_rate = 48000\nbit_depth = 16\n[category.callout]\nfiles = [\"go.wav\"]\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	out, printed := io.Pipe()
	var complaints strings.Builder
	status := make(chan int, 1)
	go func() {
		status <- Run(ctx, []string{"page", sheet}, Streams{In: strings.NewReader(""), Out: printed, Err: &complaints})
		printed.Close()
	}()
	lines := bufio.NewReader(out)
	address, err := lines.ReadString('\n')
	if err != nil {
		t.Fatal(err)
	}
	address = strings.TrimSpace(address)
	if !strings.HasPrefix(address, "http://127.0.0.1:") {
		t.Fatalf("the address is %q", address)
	}
	jar, err := cookiejar.New(nil)
	if err != nil {
		t.Fatal(err)
	}
	client := &http.Client{Jar: jar, Timeout: 5 * time.Second}
	r, err := client.Get(address)
	if err != nil {
		t.Fatal(err)
	}
	r.Body.Close()
	if r.StatusCode != 200 {
		t.Fatalf("the page answers %s", r.Status)
	}
	base, _, _ := strings.Cut(address, "/?")
	_, port, _ := net.SplitHostPort(strings.TrimPrefix(base, "http://"))

	var second strings.Builder
	if n := Run(ctx, []string{"page", sheet, "--port", port}, Streams{Out: io.Discard, Err: &second}); n != exitEnvironment || !strings.Contains(second.String(), "cannot serve on 127.0.0.1:"+port) {
		t.Errorf("a port that is taken: status %d, %s", n, &second)
	}

	var m struct {
		Callouts []struct{ Path string }
	}
	for end := time.Now().Add(20 * time.Second); m.Callouts == nil && time.Now().Before(end); time.Sleep(50 * time.Millisecond) {
		if r, err = client.Get(base + "/map.json"); err != nil {
			t.Fatal(err)
		}
		if r.StatusCode == 200 {
			err = json.NewDecoder(r.Body).Decode(&m)
		}
		r.Body.Close()
		if err != nil {
			t.Fatal(err)
		}
	}
	if len(m.Callouts) != 1 || m.Callouts[0].Path != "go.wav" {
		t.Errorf("the map shows %v", m.Callouts)
	}
	cancel()
	asked := time.Now()
	if n := <-status; n != exitInterrupted || time.Since(asked) > time.Second {
		t.Errorf("status %d %v after an interrupt", n, time.Since(asked))
	}
	if rest, _ := io.ReadAll(lines); len(rest) > 0 {
		t.Errorf("more than one line on standard output: %q", rest)
	}
	if want := "Ctrl-C stops it\ntachbench: interrupted\n"; !strings.HasSuffix(complaints.String(), want) {
		t.Errorf("standard error is %q, want it to end in %q", complaints.String(), want)
	}
}
