package cli

import (
	"bufio"
	"fmt"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// readmeCommand is one `$ …` of the README with the output shown under it.
type readmeCommand struct {
	line int
	args string
	want []string
}

// TestReadme runs every command of the README in order, in one folder, and
// compares what it prints, both streams together, with what the README shows.
// A line that is only … stands for any lines. `go test ./...` is what runs
// this test and is left out.
func TestReadme(t *testing.T) {
	if testing.Short() {
		t.Skip("the README's commands take several seconds")
	}
	text, err := os.ReadFile("../../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	commands := readmeCommands(string(text))
	if len(commands) < 5 {
		t.Fatalf("only %d commands found in the README", len(commands))
	}
	bin := filepath.Join(t.TempDir(), "tachbench")
	if out, err := exec.Command("go", "build", "-o", bin, "../../tachbench").CombinedOutput(); err != nil {
		t.Fatalf("build: %v\n%s", err, out)
	}
	dir := t.TempDir()
	for _, c := range commands {
		args := strings.Fields(c.args)
		switch {
		case c.args == "go test ./...":
			continue
		case strings.HasPrefix(c.args, "go run ./cmd/tachbench "):
			args = args[3:]
		case args[0] == "tachbench":
			args = args[1:]
		default:
			t.Errorf("README.md:%d: %s: the test does not know this command", c.line, c.args)
			continue
		}
		cmd := exec.Command(bin, args...)
		cmd.Dir = dir
		cmd.Env = append(os.Environ(), cacheVariable+"="+filepath.Join(dir, "cache"))
		if args[0] == "page" {
			if err := servesUntilStopped(cmd); err != nil {
				t.Errorf("README.md:%d: %s: %v", c.line, c.args, err)
			}
			continue
		}
		out, err := cmd.CombinedOutput()
		// A slow or busy machine may miss the speed targets of fidelity.
		missed := args[0] == "fidelity" && cmd.ProcessState.ExitCode() == exitFindings
		if err != nil && !missed {
			t.Errorf("README.md:%d: %s: %v\n%s", c.line, c.args, err, out)
			continue
		}
		if err := sameLines(c.want, strings.Split(strings.TrimRight(string(out), "\n"), "\n")); err != nil {
			t.Errorf("README.md:%d: %s: %v\nit printed:\n%s", c.line, c.args, err, out)
		}
	}
}

// servesUntilStopped runs a server: it must print an address that answers, and
// end with the status of an interrupt within a second of one.
func servesUntilStopped(cmd *exec.Cmd) error {
	out, err := cmd.StdoutPipe()
	if err != nil {
		return err
	}
	if err := cmd.Start(); err != nil {
		return err
	}
	defer cmd.Process.Kill() // does nothing to one that has ended
	line, err := bufio.NewReader(out).ReadString('\n')
	if err != nil {
		return fmt.Errorf("it printed no address: %q, %w", line, err)
	}
	address := line[max(0, strings.Index(line, "http")):]
	res, err := http.Get(strings.TrimSpace(address))
	if err != nil {
		return err
	}
	res.Body.Close()
	// The client keeps no cookies: past the address it is a stranger.
	if res.StatusCode != http.StatusForbidden && res.StatusCode != http.StatusOK {
		return fmt.Errorf("%s answers %s", address, res.Status)
	}
	if err := cmd.Process.Signal(os.Interrupt); err != nil {
		return err
	}
	asked := time.Now()
	_ = cmd.Wait()
	if took := time.Since(asked); took > time.Second || cmd.ProcessState.ExitCode() != exitInterrupted {
		return fmt.Errorf("an interrupt ended it with status %d after %v", cmd.ProcessState.ExitCode(), took)
	}
	return nil
}

// readmeCommands reads the console blocks.
func readmeCommands(text string) []readmeCommand {
	var out []readmeCommand
	inside := false
	for i, line := range strings.Split(text, "\n") {
		switch {
		case strings.HasPrefix(line, "```"):
			inside = line == "```console"
		case !inside:
		case strings.HasPrefix(line, "$ "):
			out = append(out, readmeCommand{line: i + 1, args: line[2:]})
		case len(out) > 0:
			c := &out[len(out)-1]
			c.want = append(c.want, line)
		}
	}
	return out
}

// sameLines compares output with lines in which … stands for any number.
func sameLines(want, got []string) error {
	if len(want) == 0 {
		return nil
	}
	k := 0
	for i, w := range want {
		if w == "…" {
			if i == len(want)-1 {
				return nil
			}
			for k < len(got) && got[k] != want[i+1] {
				k++
			}
			if k == len(got) {
				return fmt.Errorf("nowhere prints %q", want[i+1])
			}
			continue
		}
		if k >= len(got) {
			return fmt.Errorf("ends before %q", w)
		}
		if got[k] != w {
			return fmt.Errorf("prints %q, the README says %q", got[k], w)
		}
		k++
	}
	if k != len(got) {
		return fmt.Errorf("goes on with %q", got[k])
	}
	return nil
}
