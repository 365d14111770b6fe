package page

import (
	"context"
	"fmt"
	"io"
	"net"
	"net/http"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/coder/websocket"
)

// ask sends one request as written, path and all, and returns the answer.
func ask(t *testing.T, s *Server, method, target string, change func(http.Header, *string)) (int, http.Header, string) {
	t.Helper()
	host, h := s.host(), s.headers()
	h.Del("Origin")
	if change != nil {
		change(h, &host)
	}
	conn, err := net.Dial("tcp", s.host())
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	_ = conn.SetDeadline(time.Now().Add(5 * time.Second))
	var b strings.Builder
	b.WriteString(method + " " + target + " HTTP/1.1\r\nHost: " + host + "\r\nConnection: close\r\n")
	_ = h.Write(&b)
	b.WriteString("\r\n")
	if _, err := io.WriteString(conn, b.String()); err != nil {
		t.Fatal(err)
	}
	all, err := io.ReadAll(conn)
	if err != nil {
		t.Fatal(err)
	}
	head, body, _ := strings.Cut(string(all), "\r\n\r\n")
	lines := strings.Split(head, "\r\n")
	out := http.Header{}
	for _, l := range lines[1:] {
		k, v, _ := strings.Cut(l, ": ")
		out.Add(k, v)
	}
	var status int
	if _, err := fmt.Sscanf(lines[0], "HTTP/1.1 %d", &status); err != nil {
		t.Fatalf("%s %s: %q", method, target, lines[0])
	}
	return status, out, body
}

func TestGuard(t *testing.T) {
	t.Parallel()
	s := serving(t, &double{})
	noCookie := func(h http.Header, _ *string) { h.Del("Cookie") }
	set := func(k, v string) func(http.Header, *string) {
		return func(h http.Header, _ *string) { h.Set(k, v) }
	}
	as := func(host string) func(http.Header, *string) { return func(_ http.Header, h *string) { *h = host } }
	_, port, _ := net.SplitHostPort(s.host())
	for _, c := range []struct {
		name, method, target string
		change               func(http.Header, *string)
		want                 int
		says                 string
	}{
		{"page", "GET", "/", nil, 200, "<!DOCTYPE html>"},
		{"by the name of the loopback", "GET", "/", as("localhost:" + port), 200, ""},
		{"head", "HEAD", "/", nil, 200, ""},
		{"asset", "GET", "/assets/worklet.js", nil, 200, "registerProcessor"},
		{"package", "GET", "/package.json", nil, 200, `"title":"Test"`},
		{"map before the plan", "GET", "/map.json", nil, 404, ""},

		{"foreign host", "GET", "/", as("evil.example"), 421, "own address"},
		{"foreign host, right port", "GET", "/", as("evil.example:" + port), 421, ""},
		{"another port", "GET", "/", as("127.0.0.1:1"), 421, ""},
		{"no port", "GET", "/", as("127.0.0.1"), 421, ""},
		{"dotted host", "GET", "/", as("127.0.0.1.:" + port), 421, ""},
		{"foreign host in the request line", "GET", "http://evil.example/", nil, 421, ""},

		{"no token", "GET", "/", noCookie, 403, "needs the address"},
		{"no token for an asset", "GET", "/assets/app.js", noCookie, 403, ""},
		{"no token for the socket", "GET", "/sound", noCookie, 403, ""},
		{"wrong cookie", "GET", "/", set("Cookie", s.guard.cookie+"=AAAAAAAAAAAAAAAAAAAAAAAAAA"), 403, ""},
		{"short cookie", "GET", "/", set("Cookie", s.guard.cookie+"="+s.guard.token[:10]), 403, ""},
		{"wrong token", "GET", "/?token=AAAAAAAAAAAAAAAAAAAAAAAAAA", noCookie, 403, "needs the address"},
		{"wrong token with a right cookie", "GET", "/?token=x", nil, 403, ""},
		{"broken query", "GET", "/?%zz", nil, 403, ""},
		{"right token", "GET", "/?token=" + s.guard.token, noCookie, 303, ""},
		{"token elsewhere", "GET", "/package.json?token=" + s.guard.token, noCookie, 403, ""},

		{"post", "POST", "/", nil, 405, "GET and HEAD"},
		{"post from elsewhere", "POST", "/", set("Origin", "http://evil.example"), 403, ""},
		{"delete", "DELETE", "/assets/app.js", nil, 405, ""},
		{"options", "OPTIONS", "/", nil, 405, ""},
		{"from another site", "GET", "/package.json", set("Sec-Fetch-Site", "cross-site"), 403, ""},
		{"from another server here", "GET", "/package.json", set("Sec-Fetch-Site", "same-site"), 403, ""},

		{"dots", "GET", "/assets/../server.go", nil, 404, ""},
		{"many dots", "GET", "/../../../../etc/passwd", nil, 404, ""},
		{"dots to what is there", "GET", "/assets/../assets/app.js", nil, 404, ""},
		{"encoded dots", "GET", "/assets/%2e%2e/server.go", nil, 404, ""},
		{"encoded slash", "GET", "/assets%2f..%2f..%2fserver.go", nil, 404, ""},
		{"encoded twice", "GET", "/assets/%252e%252e/server.go", nil, 404, ""},
		{"backslash", "GET", `/assets\..\server.go`, nil, 404, ""},
		{"two slashes", "GET", "//assets/app.js", nil, 404, ""},
		{"folder", "GET", "/assets/", nil, 404, ""},
		{"file of the package", "GET", "/go.wav", nil, 404, ""},
		{"sheet", "GET", "/soundsheet.toml", nil, 404, ""},
		{"nul", "GET", "/assets/app.js%00.css", nil, 404, ""},
		{"socket without an upgrade", "GET", "/sound", set("Origin", "http://"+s.host()), 426, ""},
		{"socket without an origin", "GET", "/sound", nil, 403, ""},
	} {
		status, h, body := ask(t, s, c.method, c.target, c.change)
		if status != c.want || !strings.Contains(body, c.says) {
			t.Errorf("%s: %s %s: %d %q, want %d %q", c.name, c.method, c.target, status, body, c.want, c.says)
			continue
		}
		if h.Get("X-Content-Type-Options") != "nosniff" || h.Get("Cache-Control") != "no-store" || h.Get("Referrer-Policy") != "no-referrer" {
			t.Errorf("%s: headers %v", c.name, h)
		}
		if p := h.Get("Content-Security-Policy"); !strings.HasPrefix(p, "default-src 'none'") || strings.Contains(p, "unsafe") || strings.Contains(p, "*") || strings.Contains(p, "evil") {
			t.Errorf("%s: policy %q", c.name, p)
		}
	}
	_, h, _ := ask(t, s, "GET", "/?token="+s.guard.token, noCookie)
	if c := h.Get("Set-Cookie"); !strings.Contains(c, "HttpOnly") || !strings.Contains(c, "SameSite=Strict") || h.Get("Location") != "/" {
		t.Errorf("the token leads to %q with cookie %q", h.Get("Location"), c)
	}
	if len(s.guard.token) < 26 {
		t.Errorf("a token of %d letters holds less than 128 bits", len(s.guard.token))
	}
}

// What a browser is started with works once.
func TestPass(t *testing.T) {
	t.Parallel()
	s := serving(t, &double{})
	noCookie := func(h http.Header, _ *string) { h.Del("Cookie") }
	if status, _, _ := ask(t, s, "GET", "/?pass=", noCookie); status != 403 {
		t.Errorf("an empty pass before any was given out: %d", status)
	}
	target := strings.TrimPrefix(s.Pass(), "http://"+s.host())
	if status, _, _ := ask(t, s, "GET", target+"x", noCookie); status != 403 {
		t.Errorf("a wrong pass: %d", status)
	}
	if status, h, _ := ask(t, s, "GET", target, noCookie); status != 303 || !strings.Contains(h.Get("Set-Cookie"), s.guard.token) {
		t.Errorf("the pass: %d, %v", status, h)
	}
	for _, again := range []string{target, "/?pass="} {
		if status, _, _ := ask(t, s, "GET", again, noCookie); status != 403 {
			t.Errorf("a used pass, %s: %d", again, status)
		}
	}
	if strings.Contains(target, s.guard.token) {
		t.Error("the pass gives the token away")
	}
}

func TestForeignOrigin(t *testing.T) {
	t.Parallel()
	s := serving(t, &double{})
	for _, origin := range []string{"http://evil.example", "null", "", "https://" + s.host(), "http://127.0.0.1:1", "http://127.0.0.1", "http://" + s.host() + ".evil.example"} {
		h := s.headers()
		h.Set("Origin", origin)
		ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
		ws, r, err := websocket.Dial(ctx, "ws://"+s.host()+"/sound", &websocket.DialOptions{HTTPHeader: h})
		cancel()
		if err == nil {
			ws.CloseNow()
			t.Errorf("origin %q was let in", origin)
		} else if r == nil || r.StatusCode != http.StatusForbidden {
			t.Errorf("origin %q: %v, want 403", origin, r)
		}
	}
}

// Everything in assets that a browser should get has a media type.
func TestAssetsAreServed(t *testing.T) {
	files, err := filepath.Glob("assets/*")
	if err != nil || len(files) == 0 {
		t.Fatal("no assets", err)
	}
	served := assets()
	for _, f := range files {
		if a := served["/"+filepath.ToSlash(f)]; len(a.body) == 0 || a.kind == "" {
			t.Errorf("%s is not served", f)
		}
	}
}
