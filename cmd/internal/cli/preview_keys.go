package cli

import "time"

// key is what a person pressed: a character, or one of those below.
type key rune

const (
	keyEsc key = -1 - iota
	keyUp
	keyDown
)

const (
	keyCtrlC key = 3
	keyCtrlD key = 4
)

// escWithin is how soon the rest of a key's escape sequence follows. An
// escape alone is the Esc key, which has to silence everything soon.
const escWithin = 25 * time.Millisecond

// keyParser turns the bytes of a terminal in raw mode into keys. Its keys do
// not depend on how the bytes are cut into reads. Sequences of keys that mean
// nothing here, and letters beyond ASCII, give nothing.
type keyParser struct {
	state keyState
}

type keyState int

const (
	keyPlain  keyState = iota
	keyEscape          // after ESC
	keyCSI             // after ESC [, before the final byte
	keyCSIArg          // the same with parameters
	keySS3             // after ESC O
)

// pending reports whether an ESC waits to be told from a sequence.
func (p *keyParser) pending() bool { return p.state != keyPlain }

// feed takes one byte and gives the keys that it completes to emit.
func (p *keyParser) feed(b byte, emit func(key)) {
	const esc = 0x1b
	switch p.state {
	case keyEscape:
		switch b {
		case '[':
			p.state = keyCSI
			return
		case 'O':
			p.state = keySS3
			return
		}
		// Esc, then another key; or a letter with Alt, which looks the same.
		emit(keyEsc)
	case keyCSI, keyCSIArg:
		switch {
		case b == esc: // the sequence broke off
		case b < 0x20 || b > 0x7e:
			p.state = keyPlain
			return
		case b >= 0x40:
			if p.state == keyCSI {
				arrow(b, emit)
			}
			p.state = keyPlain
			return
		default:
			p.state = keyCSIArg
			return
		}
	case keySS3:
		if b != esc {
			arrow(b, emit)
			p.state = keyPlain
			return
		}
	}
	p.state = keyPlain
	switch {
	case b == esc:
		p.state = keyEscape
	case b < 0x7f:
		emit(key(b))
	}
}

// flush says that nothing followed for escWithin.
func (p *keyParser) flush(emit func(key)) {
	if p.state == keyEscape {
		emit(keyEsc)
	}
	p.state = keyPlain
}

func arrow(b byte, emit func(key)) {
	switch b {
	case 'A':
		emit(keyUp)
	case 'B':
		emit(keyDown)
	}
}

const (
	// holdFirst is how long one press of the throttle holds: until the
	// keyboard begins to repeat, 0.66 s where it is slow (X's own default,
	// from memory).
	holdFirst = 700 * time.Millisecond
	// holdRepeat is the same once it repeats, ten times a second or more.
	holdRepeat = 150 * time.Millisecond
)

// throttle guesses from presses and repeats when a key is let go: terminals
// tell of no release.
type throttle struct {
	until time.Time // held up to here
}

// press is a press or a repeat at now.
func (t *throttle) press(now time.Time) {
	if now.Before(t.until) {
		t.until = now.Add(holdRepeat) // the keyboard repeats, or a second tap
		return
	}
	t.until = now.Add(holdFirst)
}

// held reports whether the throttle is open at now.
func (t *throttle) held(now time.Time) bool { return now.Before(t.until) }

// drop lets go at once.
func (t *throttle) drop() { t.until = time.Time{} }
