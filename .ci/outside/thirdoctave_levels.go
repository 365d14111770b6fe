//go:build outside

// Third-octave levels of raw doubles by this project. See thirdoctave.sh.
//
//	thirdoctave_levels < LIST   rows PATH TAB RATE TAB CHANNELS ...; prints
//	                            PATH TAB CHANNEL TAB X TAB LEVEL_DB
package main

import (
	"bufio"
	"encoding/binary"
	"fmt"
	"math"
	"os"
	"strconv"
	"strings"

	"tachbench/analysis/band"
)

func main() {
	in := bufio.NewScanner(os.Stdin)
	for in.Scan() {
		col := strings.Split(in.Text(), "\t")
		rate, _ := strconv.Atoi(col[1])
		channels, _ := strconv.Atoi(col[2])
		data, err := os.ReadFile(col[0])
		if err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
		block := make([][]float64, channels)
		for i := 0; i+8 <= len(data); i += 8 {
			c := i / 8 % channels
			block[c] = append(block[c], math.Float64frombits(binary.LittleEndian.Uint64(data[i:])))
		}
		m, err := band.New(rate, channels)
		if err != nil {
			fmt.Fprintln(os.Stderr, col[0], err)
			os.Exit(1)
		}
		m.Write(block)
		for c, s := range m.Result() {
			for _, b := range s.ThirdOctaves() {
				if !b.Partial {
					fmt.Printf("%s\t%d\t%d\t%.4f\n", col[0], c, b.X, b.LevelDB)
				}
			}
		}
	}
}
