package audit

import (
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"reflect"
	"slices"
)

// pack writes a value to the last bit: NaN and its payload, negative zero, nil
// apart from empty. encoding/gob drops the last two, and JSON all of them. Fields
// that are not exported are left out.
func pack(v any) ([]byte, error) {
	p := packer{}
	err := p.put(reflect.ValueOf(v))
	return p.b, err
}

type packer struct{ b []byte }

func (p *packer) num(n uint64) { p.b = binary.AppendUvarint(p.b, n) }

// length writes how many follow, with one for nil.
func (p *packer) length(v reflect.Value) {
	if v.IsNil() {
		p.num(0)
		return
	}
	p.num(uint64(v.Len()) + 1)
}

func (p *packer) put(v reflect.Value) error {
	switch v.Kind() {
	case reflect.Bool:
		if v.Bool() {
			p.num(1)
		} else {
			p.num(0)
		}
	case reflect.Int, reflect.Int8, reflect.Int16, reflect.Int32, reflect.Int64:
		p.b = binary.AppendVarint(p.b, v.Int())
	case reflect.Uint, reflect.Uint8, reflect.Uint16, reflect.Uint32, reflect.Uint64:
		p.num(v.Uint())
	case reflect.Float32:
		p.b = binary.LittleEndian.AppendUint32(p.b, math.Float32bits(float32(v.Float())))
	case reflect.Float64:
		p.b = binary.LittleEndian.AppendUint64(p.b, math.Float64bits(v.Float()))
	case reflect.String:
		p.num(uint64(v.Len()))
		p.b = append(p.b, v.String()...)
	case reflect.Slice:
		p.length(v)
		for i := range v.Len() {
			if err := p.put(v.Index(i)); err != nil {
				return err
			}
		}
	case reflect.Map:
		if v.Type().Key().Kind() != reflect.String {
			return fmt.Errorf("audit: cannot store %s", v.Type())
		}
		p.length(v)
		keys := v.MapKeys()
		slices.SortFunc(keys, func(a, b reflect.Value) int { return cmpStrings(a.String(), b.String()) })
		for _, k := range keys {
			if err := errors.Join(p.put(k), p.put(v.MapIndex(k))); err != nil {
				return err
			}
		}
	case reflect.Pointer:
		if v.IsNil() {
			p.num(0)
			return nil
		}
		p.num(1)
		return p.put(v.Elem())
	case reflect.Struct:
		for i := range v.NumField() {
			if v.Type().Field(i).IsExported() {
				if err := p.put(v.Field(i)); err != nil {
					return err
				}
			}
		}
	default:
		return fmt.Errorf("audit: cannot store %s", v.Type())
	}
	return nil
}

func cmpStrings(a, b string) int {
	switch {
	case a < b:
		return -1
	case a > b:
		return 1
	}
	return 0
}

// errPacked says that bytes are not what pack wrote for that type.
var errPacked = errors.New("audit: not a stored result")

// unpack reads what pack wrote into the value that to points at. It never
// takes more memory than a fixed multiple of the bytes.
func unpack(b []byte, to any) error {
	u := unpacker{b: b}
	u.get(reflect.ValueOf(to).Elem())
	if u.bad || len(u.b) != 0 {
		return errPacked
	}
	return nil
}

type unpacker struct {
	b   []byte
	bad bool
}

func (u *unpacker) take(n int) []byte {
	if u.bad || n < 0 || n > len(u.b) {
		u.bad = true
		return make([]byte, min(max(n, 0), 8))
	}
	out := u.b[:n]
	u.b = u.b[n:]
	return out
}

func (u *unpacker) num() uint64 {
	n, size := binary.Uvarint(u.b)
	if size <= 0 {
		u.bad = true
		return 0
	}
	u.take(size)
	return n
}

// count reads a length; every element takes at least one byte.
func (u *unpacker) count() (n int, isNil bool) {
	raw := u.num()
	if raw == 0 || u.bad {
		return 0, true
	}
	if raw-1 > uint64(len(u.b)) {
		u.bad = true
		return 0, true
	}
	return int(raw - 1), false
}

func (u *unpacker) get(v reflect.Value) {
	if u.bad {
		return
	}
	switch v.Kind() {
	case reflect.Bool:
		v.SetBool(u.num() == 1)
	case reflect.Int, reflect.Int8, reflect.Int16, reflect.Int32, reflect.Int64:
		n, size := binary.Varint(u.b)
		if size <= 0 {
			u.bad = true
			return
		}
		u.take(size)
		v.SetInt(n)
	case reflect.Uint, reflect.Uint8, reflect.Uint16, reflect.Uint32, reflect.Uint64:
		v.SetUint(u.num())
	case reflect.Float32:
		v.SetFloat(float64(math.Float32frombits(binary.LittleEndian.Uint32(u.take(4)))))
	case reflect.Float64:
		v.SetFloat(math.Float64frombits(binary.LittleEndian.Uint64(u.take(8))))
	case reflect.String:
		n := u.num()
		if n > uint64(len(u.b)) {
			u.bad = true
			return
		}
		v.SetString(string(u.take(int(n))))
	case reflect.Slice:
		n, isNil := u.count()
		if isNil {
			return
		}
		v.Set(reflect.MakeSlice(v.Type(), n, n))
		for i := range n {
			u.get(v.Index(i))
		}
	case reflect.Map:
		n, isNil := u.count()
		if isNil {
			return
		}
		v.Set(reflect.MakeMap(v.Type()))
		for range n {
			key, value := reflect.New(v.Type().Key()).Elem(), reflect.New(v.Type().Elem()).Elem()
			u.get(key)
			u.get(value)
			if u.bad {
				return
			}
			v.SetMapIndex(key, value)
		}
	case reflect.Pointer:
		if u.num() == 1 && !u.bad {
			v.Set(reflect.New(v.Type().Elem()))
			u.get(v.Elem())
		}
	case reflect.Struct:
		for i := range v.NumField() {
			if v.Type().Field(i).IsExported() {
				u.get(v.Field(i))
			}
		}
	default:
		u.bad = true
	}
}
