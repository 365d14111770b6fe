package scene

import (
	"errors"
	"fmt"
	"sync"

	"tachbench/samples"
	"tachbench/samples/file"
	"tachbench/samples/resample"
	"tachbench/samples/sheet"
)

// Clip is a sound file in memory, ready for a scene.
type Clip struct {
	Path     sheet.Path
	Sound    *samples.Sound // at the file's own rate, one or two channels
	Loop     samples.Loop   // frames of Sound that repeat when it is looped
	Active   []Span         // when it speaks, seconds from its start
	Warnings []error        // what is odd about the file; one line each
}

// Library reads the files of a sheet, each once. It may be used from several
// goroutines.
type Library struct {
	rateHz int
	mu     sync.Mutex
	clips  map[string]*entry
}

type entry struct {
	once sync.Once
	clip *Clip
	err  error
}

// NewLibrary returns an empty library for a machine that plays at rateHz.
func NewLibrary(rateHz int) *Library {
	return &Library{rateHz: rateHz, clips: map[string]*entry{}}
}

// Clip returns a file, read at the first call. The error is one line without
// the file's name.
func (l *Library) Clip(p sheet.Path) (*Clip, error) {
	l.mu.Lock()
	e := l.clips[p.Abs]
	if e == nil {
		e = &entry{}
		l.clips[p.Abs] = e
	}
	l.mu.Unlock()
	e.once.Do(func() { e.clip, e.err = l.read(p) })
	return e.clip, e.err
}

func (l *Library) read(p sheet.Path) (*Clip, error) {
	s, info, err := file.Load(p.Abs)
	c := &Clip{Path: p}
	var broken *samples.TruncatedError
	switch {
	case errors.As(err, &broken) && s != nil && s.Frames() > 0:
		c.Warnings = append(c.Warnings, fmt.Errorf("%s: %w; it is used as far as it is good", p.Rel, broken))
	case err != nil:
		return nil, shorter(err, p)
	case s.Frames() == 0:
		return nil, errors.New("there is no sound in it")
	}
	if err := resample.Check(s.RateHz, l.rateHz); err != nil {
		return nil, err
	}
	unusable := 0
	for _, ch := range s.Chans {
		unusable += samples.Scrub(ch, ch)
	}
	if unusable > 0 {
		c.Warnings = append(c.Warnings, fmt.Errorf("%s: %d broken samples (not a number, or beyond all measure) are taken as silence", p.Rel, unusable))
	}
	c.Sound = Fold(s)
	c.Loop = samples.Loop{End: int64(s.Frames())}
	if len(info.Loops) > 0 {
		first := info.Loops[0]
		if first.Start >= 0 && first.Start < first.End && first.End <= int64(s.Frames()) {
			c.Loop = samples.Loop{Start: first.Start, End: first.End}
		} else {
			c.Warnings = append(c.Warnings, fmt.Errorf("%s: its loop points, frame %d to %d, lie outside its %d frames; the whole file is looped", p.Rel, first.Start, first.End, s.Frames()))
		}
	}
	if c.Active = Active(c.Sound); len(c.Active) == 0 {
		c.Warnings = append(c.Warnings, fmt.Errorf("%s: is under %d dBFS throughout; it never speaks, so nothing yields to it", p.Rel, quietDBFS))
	}
	return c, nil
}

// shorter takes the file's name off an error, which the caller places in the
// sheet.
func shorter(err error, p sheet.Path) error {
	text := err.Error()
	if n := len(p.Abs) + 2; len(text) > n && text[:n] == p.Abs+": " {
		return errors.New(text[n:])
	}
	return err
}
