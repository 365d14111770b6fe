package report

import (
	"encoding/json"
	"io"
	"math"
	"strconv"
)

// Version of the JSON documents. It grows when a key changes its meaning or
// goes away; new keys do not change it.
const Version = 1

// Number is a measured value: NaN and the infinities become null.
type Number float64

// MarshalJSON writes the shortest form, or null.
func (n Number) MarshalJSON() ([]byte, error) {
	v := float64(n)
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return []byte("null"), nil
	}
	return strconv.AppendFloat(nil, v, 'f', -1, 64), nil
}

// Round keeps the given number of decimals, as many as the measurement is
// worth.
func Round(v float64, decimals int) Number {
	p := math.Pow(10, float64(decimals))
	r := math.Round(v*p) / p
	if r == 0 {
		r = 0 // no negative zero
	}
	return Number(r)
}

// Unreadable is a file that could not be taken into account.
type Unreadable struct {
	Path  string `json:"path"`
	Error string `json:"error"`
}

// WriteJSON writes exactly one document and a line end.
func WriteJSON(w io.Writer, doc any) error {
	e := json.NewEncoder(w)
	e.SetEscapeHTML(false)
	return e.Encode(doc)
}
