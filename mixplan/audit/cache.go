package audit

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"time"

	"tachbench/analysis/defect"
)

// cacheFormat is raised whenever what is stored changes its meaning. The
// program itself is part of every key, so that this is a second safeguard.
const cacheFormat = 1

const (
	cacheMaxBytes  = 256 << 20 // over this the entries that were not used longest go
	cacheKeepBytes = 192 << 20 // until so much is left
	cacheMaxEntry  = 4 << 20   // larger results are measured anew
	cacheStaleS    = 3600      // an unfinished entry of that age is a leftover
)

// cache remembers on disk what was measured of a file. Nothing about it is
// ever an error: what cannot be read, written or trusted is measured anew.
type cache struct {
	dir    string
	salt   [sha256.Size]byte // the program and its rules
	mu     sync.Mutex
	stored bool
}

// openCache returns nil if dir is empty or the running program cannot be told
// from another version of itself.
func openCache(dir string) *cache {
	if dir == "" {
		return nil
	}
	self, ok := programSum()
	if !ok {
		return nil
	}
	return &cache{dir: dir, salt: saltOf(cacheFormat, self)}
}

func saltOf(format int, program [sha256.Size]byte) [sha256.Size]byte {
	return sha256.Sum256(fmt.Appendf(nil, "%d\n%x\n%+v\n%+v", format, program, defect.Rules(), defect.Limits()))
}

// programSum is the hash of the running program, taken once.
var programSum = sync.OnceValues(func() (sum [sha256.Size]byte, ok bool) {
	// Linux knows the image that runs even after its file was replaced.
	f, err := os.Open("/proc/self/exe")
	if err != nil {
		path, err := os.Executable()
		if err != nil {
			return sum, false
		}
		if f, err = os.Open(path); err != nil {
			return sum, false
		}
	}
	defer f.Close()
	h := sha256.New()
	if _, err := io.Copy(h, f); err != nil {
		return sum, false
	}
	return [sha256.Size]byte(h.Sum(nil)), true
})

// measured is measure with the cache in front of it.
func (c *cache) measured(ctx context.Context, e entry, chart bool, read func(share float64)) (*Sound, error) {
	if c == nil {
		return measure(ctx, e, chart, read)
	}
	before, ok := contentSum(ctx, e.path)
	if !ok {
		return measure(ctx, e, chart, read)
	}
	key := c.key(before, e, chart)
	if s := c.load(key); s != nil {
		s.Path, s.Category, s.StandIn, s.Recording, s.Bytes = e.path, e.category, e.standIn, e.recording, e.size
		return s, nil
	}
	s, err := measure(ctx, e, chart, read)
	if err != nil {
		return nil, err
	}
	// A file that changed meanwhile must not be remembered as what it was.
	if after, ok := contentSum(ctx, e.path); ok && after == before {
		c.store(key, s)
	}
	return s, nil
}

// contentSum hashes a file; false if it cannot be read to its end.
func contentSum(ctx context.Context, path string) (sum [sha256.Size]byte, ok bool) {
	f, err := os.Open(path)
	if err != nil {
		return sum, false
	}
	defer f.Close()
	h := sha256.New()
	buf := make([]byte, 256<<10)
	for ctx.Err() == nil {
		n, err := f.Read(buf)
		h.Write(buf[:n])
		if err == io.EOF {
			return [sha256.Size]byte(h.Sum(nil)), true
		}
		if err != nil {
			break
		}
	}
	return sum, false
}

// key holds all that a measurement depends on.
func (c *cache) key(content [sha256.Size]byte, e entry, chart bool) string {
	b := fmt.Appendf(nil, "%x\n%x\n%d %v %v %q %+v\n", c.salt, content, e.opt.Kind, e.opt.WholeLoop, chart, e.category, e.machine)
	for _, l := range defect.Limits() {
		b = fmt.Appendf(b, "%s=%x\n", l.Key, e.opt.Limit(l.Key))
	}
	sum := sha256.Sum256(b)
	return hex.EncodeToString(sum[:])
}

func (c *cache) path(key string) string { return filepath.Join(c.dir, key[:2], key) }

// load returns what is stored under a key, nil if there is nothing whole.
func (c *cache) load(key string) *Sound {
	path := c.path(key)
	st, err := os.Stat(path)
	if err != nil || st.Size() > cacheMaxEntry {
		return nil
	}
	data, err := os.ReadFile(path)
	if err != nil || len(data) < sha256.Size {
		return nil
	}
	sum, body := data[:sha256.Size], data[sha256.Size:]
	if want := entrySum(key, body); !bytes.Equal(sum, want[:]) {
		return nil
	}
	var r record
	if err := unpack(body, &r); err != nil {
		return nil
	}
	if now := time.Now(); now.Sub(st.ModTime()) > time.Hour {
		_ = os.Chtimes(path, now, now) // used lately; see trim
	}
	r.Sound.content = r.Content
	return &r.Sound
}

// store writes an entry whole or not at all.
func (c *cache) store(key string, s *Sound) {
	body, err := pack(record{*s, s.content})
	if err != nil || len(body)+sha256.Size > cacheMaxEntry {
		return
	}
	path := c.path(key)
	if os.MkdirAll(filepath.Dir(path), 0o700) != nil {
		return
	}
	f, err := os.CreateTemp(filepath.Dir(path), ".new-*")
	if err != nil {
		return
	}
	sum := entrySum(key, body)
	_, err = f.Write(append(sum[:], body...))
	if closed := f.Close(); err != nil || closed != nil || os.Rename(f.Name(), path) != nil {
		_ = os.Remove(f.Name())
		return
	}
	c.mu.Lock()
	c.stored = true
	c.mu.Unlock()
}

func entrySum(key string, body []byte) [sha256.Size]byte {
	return sha256.Sum256(append([]byte(key), body...))
}

// record is what an entry holds.
type record struct {
	Sound   Sound
	Content string
}

// close keeps the cache within its bounds.
func (c *cache) close() {
	if c != nil && c.stored {
		c.trim(cacheMaxBytes, cacheKeepBytes)
	}
}

// trim removes the entries that were not used longest when there is more than
// most, until there is no more than keep.
func (c *cache) trim(most, keep int64) {
	type old struct {
		path string
		size int64
		at   time.Time
	}
	var all []old
	var total int64
	_ = filepath.WalkDir(c.dir, func(path string, d fs.DirEntry, err error) error {
		// Only names that this cache gives: the folder may be the user's own.
		if err != nil || !d.Type().IsRegular() {
			return nil
		}
		info, err := d.Info()
		if err != nil {
			return nil
		}
		name := d.Name()
		switch {
		case len(name) > 5 && name[:5] == ".new-":
			if time.Since(info.ModTime()) > cacheStaleS*time.Second {
				_ = os.Remove(path)
			}
		case len(name) == 2*sha256.Size && filepath.Base(filepath.Dir(path)) == name[:2]:
			all = append(all, old{path, info.Size(), info.ModTime()})
			total += info.Size()
		}
		return nil
	})
	if total <= most {
		return
	}
	slices.SortFunc(all, func(a, b old) int { return a.at.Compare(b.at) })
	for _, o := range all {
		if total <= keep {
			return
		}
		if os.Remove(o.path) == nil {
			total -= o.size
		}
	}
}
