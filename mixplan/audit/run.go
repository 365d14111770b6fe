package audit

import (
	"cmp"
	"context"
	"runtime"
	"slices"
	"strings"
	"sync"
)

// Options say how to audit.
type Options struct {
	Workers int  // files measured at once; 0 = one for each core
	Charts  bool // keep what pictures need

	// CacheDir is where what was measured of a file is remembered by its
	// content, the limits in force and this very program; "" for nowhere. It
	// never changes a result and is never an error.
	CacheDir string

	// Progress, if not nil, is told from time to time how far the work has
	// come, one call at a time.
	Progress func(Progress)
}

// Progress is how far the work has come. Bytes are those of the files; they
// grow while a long file is being read.
type Progress struct {
	Files, AllFiles int
	Bytes, AllBytes int64
}

// Run audits the inputs. The error is that of a sheet, of unusable inputs or
// of ctx; what is wrong with single files is in the Result. The same inputs
// give the same Result on any number of cores.
func Run(ctx context.Context, in Inputs, opt Options) (*Result, error) {
	l, err := list(in)
	if err != nil {
		return nil, err
	}
	sounds := make([]*Sound, len(l.entries))
	errs := make([]error, len(l.entries))
	t := newTally(l.entries, opt.Progress)

	workers := opt.Workers
	if workers <= 0 {
		workers = runtime.GOMAXPROCS(0)
	}
	remembered := openCache(opt.CacheDir)
	next := make(chan int)
	var wg sync.WaitGroup
	for range min(workers, len(l.entries)) {
		wg.Add(1)
		go func() {
			defer wg.Done()
			for i := range next {
				sounds[i], errs[i] = remembered.measured(ctx, l.entries[i], opt.Charts, func(share float64) { t.read(i, share) })
				t.done(i)
			}
		}()
	}
	for _, i := range longestFirst(l.entries) {
		if ctx.Err() != nil {
			break
		}
		next <- i
	}
	close(next)
	wg.Wait()
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	remembered.close()

	res := &Result{Sheet: l.sheet, Unreadable: l.bad}
	for i, s := range sounds {
		if errs[i] != nil {
			res.Unreadable = append(res.Unreadable, newUnreadable(l.entries[i].path, l.entries[i].category, errs[i], false))
			continue
		}
		res.Sounds = append(res.Sounds, *s)
	}
	slices.SortStableFunc(res.Unreadable, func(a, b Unreadable) int { return strings.Compare(a.Path, b.Path) })
	judge(res, l, in.Category)
	return res, nil
}

// longestFirst keeps all cores busy to the end.
func longestFirst(entries []entry) []int {
	order := make([]int, len(entries))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(entries[b].size, entries[a].size) })
	return order
}

// tally counts what was read.
type tally struct {
	mu     sync.Mutex
	report func(Progress)
	p      Progress
	sizes  []int64
	have   []int64 // bytes counted of each file
}

func newTally(entries []entry, report func(Progress)) *tally {
	t := &tally{report: report, sizes: make([]int64, len(entries)), have: make([]int64, len(entries))}
	for i, e := range entries {
		t.sizes[i] = e.size
		t.p.AllBytes += e.size
	}
	t.p.AllFiles = len(entries)
	return t
}

func (t *tally) read(i int, share float64) {
	if t.report == nil {
		return
	}
	t.mu.Lock()
	defer t.mu.Unlock()
	if n := int64(share * float64(t.sizes[i])); n > t.have[i] {
		t.p.Bytes += n - t.have[i]
		t.have[i] = n
	}
	t.report(t.p)
}

func (t *tally) done(i int) {
	if t.report == nil {
		return
	}
	t.mu.Lock()
	defer t.mu.Unlock()
	t.p.Bytes += t.sizes[i] - t.have[i]
	t.have[i] = t.sizes[i]
	t.p.Files++
	t.report(t.p)
}
