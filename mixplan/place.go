package mixplan

import (
	"bytes"
	"errors"
	"strconv"
	"strings"
	"unicode/utf8"

	toml "github.com/pelletier/go-toml/v2"
	"github.com/pelletier/go-toml/v2/unstable"

	"tachbench/samples/sheet"
)

// position in a text, both from 1, the column in characters.
type position struct{ line, col int }

func positionOf(data []byte, offset int) position {
	before := data[:min(max(offset, 0), len(data))]
	start := bytes.LastIndexByte(before, '\n') + 1
	return position{1 + bytes.Count(before, []byte{'\n'}), 1 + utf8.RuneCount(before[start:])}
}

// places notes where the keys of a text stand that the TOML decoder has
// accepted. Of a key within an inline table or a list only the owner's place
// is known.
func places(data []byte) map[string]position {
	at := map[string]position{}
	count := map[string]int{}
	note := func(key string, offset int) {
		if _, ok := at[key]; !ok {
			at[key] = positionOf(data, offset)
		}
	}
	var p unstable.Parser
	p.Reset(data)
	table := ""
	for p.NextExpression() {
		e := p.Expression()
		if e.Kind != unstable.Table && e.Kind != unstable.ArrayTable && e.Kind != unstable.KeyValue {
			continue
		}
		key := table
		if e.Kind != unstable.KeyValue {
			key = ""
		}
		for it := e.Key(); it.Next(); {
			key = sheet.JoinKey(key, string(it.Node().Data))
			offset := int(it.Node().Raw.Offset)
			note(key, offset)
			if e.Kind == unstable.KeyValue {
				continue
			}
			if e.Kind == unstable.ArrayTable && it.Node().Next() == nil {
				count[key]++
			}
			if n := count[key]; n > 0 {
				key = entryKey(key, n)
				note(key, offset)
			}
		}
		if e.Kind != unstable.KeyValue {
			table = key
		}
	}
	return at
}

func entryKey(list string, i int) string { return list + "[" + strconv.Itoa(i) + "]" }

// fault is a problem at a key, or at the nearest thing around it that has a
// place.
func (p *Plan) fault(key, text, hint string) *sheet.Error {
	e := &sheet.Error{File: p.File, Key: key, Text: text, Hint: hint}
	if p.File == "" {
		e.File = "plan"
	}
	for k := key; len(p.at) > 0; {
		if pos, ok := p.at[k]; ok {
			e.Line, e.Col = pos.line, pos.col
			return e
		}
		// A dot within quotes only makes the search end a step later.
		i := strings.LastIndexAny(k, ".[")
		if i < 0 {
			e.Line, e.Col = 1, 1
			return e
		}
		k = k[:i]
	}
	return e
}

// syntaxError words an error of the TOML decoder.
func syntaxError(name string, data []byte, err error) *sheet.Error {
	e := &sheet.Error{File: name, Line: 1, Col: 1, Text: strings.TrimPrefix(err.Error(), "toml: ")}
	var de *toml.DecodeError
	if errors.As(err, &de) {
		line, col := de.Position()
		start := 0
		for range line - 1 {
			start += bytes.IndexByte(data[start:], '\n') + 1
		}
		pos := positionOf(data, start+col-1)
		e.Line, e.Col = pos.line, pos.col
		for _, part := range de.Key() {
			e.Key = sheet.JoinKey(e.Key, part)
		}
	}
	return e
}
