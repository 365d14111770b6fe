package sheet

import (
	"bytes"
	"regexp"
	"sort"
	"strconv"
	"strings"
	"unicode/utf8"

	"github.com/pelletier/go-toml/v2/unstable"
)

// maxDepth is how deep keys are followed. The sheet has five levels at most;
// anything deeper is below an unknown key already.
const maxDepth = 8

// document knows where each key of a sheet stands.
type document struct {
	data  []byte
	lines []int          // offset of each line's first byte
	at    map[string]int // key → offset
	order map[string][]string
	lists map[string]int // [[key]] seen so far
}

// newDocument walks through a sheet that the TOML decoder has accepted.
func newDocument(data []byte) *document {
	d := &document{
		data:  data,
		lines: []int{0},
		at:    map[string]int{},
		order: map[string][]string{},
		lists: map[string]int{},
	}
	for i, b := range data {
		if b == '\n' {
			d.lines = append(d.lines, i+1)
		}
	}
	var p unstable.Parser
	p.Reset(data)
	table := ""
	for p.NextExpression() {
		e := p.Expression()
		switch e.Kind {
		case unstable.Table, unstable.ArrayTable:
			table = d.header(e)
		case unstable.KeyValue:
			d.keyValue(table, e, 0)
		}
	}
	return d
}

// header notes the keys of [a.b] or [[a.b]] and returns the key of the table
// that begins.
func (d *document) header(e *unstable.Node) string {
	key, depth := "", 0
	for it := e.Key(); it.Next() && depth < maxDepth; depth++ {
		n := it.Node()
		key = d.note(key, string(n.Data), int(n.Raw.Offset))
		if e.Kind == unstable.ArrayTable && n.Next() == nil {
			d.lists[key]++
			return d.noteEntry(key, d.lists[key], int(n.Raw.Offset))
		}
		if count := d.lists[key]; count > 0 {
			key = entryKey(key, count)
		}
	}
	return key
}

func (d *document) keyValue(table string, e *unstable.Node, depth int) {
	key, offset := table, 0
	for it := e.Key(); it.Next(); depth++ {
		if depth >= maxDepth {
			return
		}
		offset = int(it.Node().Raw.Offset)
		key = d.note(key, string(it.Node().Data), offset)
	}
	d.value(key, offset, e.Value(), depth)
}

// value notes the entries of lists and inline tables. Where the parser gives
// no place for an entry it stands where its owner stands.
func (d *document) value(key string, offset int, v *unstable.Node, depth int) {
	if depth >= maxDepth {
		return
	}
	it := v.Children()
	switch v.Kind {
	case unstable.Array:
		for i := 1; it.Next(); i++ {
			at := offset
			if n := it.Node(); n.Raw.Length > 0 {
				at = int(n.Raw.Offset)
			}
			d.value(d.noteEntry(key, i, at), at, it.Node(), depth+1)
		}
	case unstable.InlineTable:
		for it.Next() {
			d.keyValue(key, it.Node(), depth+1)
		}
	}
}

func (d *document) note(table, name string, offset int) string {
	key := JoinKey(table, name)
	if _, ok := d.at[key]; !ok {
		d.at[key] = offset
		d.order[table] = append(d.order[table], name)
	}
	return key
}

func (d *document) noteEntry(list string, i, offset int) string {
	key := entryKey(list, i)
	if _, ok := d.at[key]; !ok {
		d.at[key] = offset
	}
	return key
}

// place returns line and column of a key, or of the nearest table around it
// that exists, or 1, 1.
func (d *document) place(key string) (line, col int) {
	for {
		if offset, ok := d.at[key]; ok {
			return d.lineCol(offset)
		}
		if key = ownerKey(key); key == "" {
			return 1, 1
		}
	}
}

func (d *document) lineCol(offset int) (line, col int) {
	line = sort.SearchInts(d.lines, offset+1)
	return line, 1 + utf8.RuneCount(d.data[d.lines[line-1]:offset])
}

var bareKey = regexp.MustCompile(`^[A-Za-z0-9_-]+$`)

// JoinKey returns the key of an entry of a table, quoted where TOML needs it;
// for example JoinKey("category.callout.limits", "dc_offset").
func JoinKey(table, name string) string {
	if !bareKey.MatchString(name) {
		name = strconv.Quote(name)
	}
	if table == "" {
		return name
	}
	return table + "." + name
}

func entryKey(list string, i int) string { return list + "[" + strconv.Itoa(i) + "]" }

// ownerKey strips the last part of a key: a.b[2] → a.b → a → "".
func ownerKey(key string) string {
	if strings.HasSuffix(key, "]") {
		return key[:strings.LastIndexByte(key, '[')]
	}
	if strings.HasSuffix(key, `"`) {
		// A quoted part may hold dots; step back over it to its first quote.
		i := len(key) - 2
		for i > 0 && (key[i] != '"' || escaped(key[:i])) {
			i--
		}
		return strings.TrimSuffix(key[:max(i, 0)], ".")
	}
	return key[:max(strings.LastIndexByte(key, '.'), 0)]
}

// escaped reports whether what follows s is escaped by a backslash at its end.
func escaped(s string) bool {
	return (len(s)-len(strings.TrimRight(s, `\`)))%2 == 1
}

// utf8Fault returns the offset of the first byte that is not UTF-8, or -1.
func utf8Fault(data []byte) int {
	for i := 0; i < len(data); {
		r, n := utf8.DecodeRune(data[i:])
		if r == utf8.RuneError && n == 1 {
			return i
		}
		i += n
	}
	return -1
}

// lineColOf returns line and column of an offset without a document.
func lineColOf(data []byte, offset int) (line, col int) {
	before := data[:min(offset, len(data))]
	start := bytes.LastIndexByte(before, '\n') + 1
	return 1 + bytes.Count(before, []byte{'\n'}), 1 + utf8.RuneCount(before[start:])
}
