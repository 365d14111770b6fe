package resample_test

import (
	"fmt"

	"tachbench/samples"
	"tachbench/samples/resample"
)

func ExampleSound() {
	recording := samples.NewSound(44100, 1, 44100)
	recording.Chans[0][14700] = 1 // a click after a third of a second
	machine := resample.Sound(recording, 48000)
	loudest := 0
	for i, v := range machine.Chans[0] {
		if v > machine.Chans[0][loudest] {
			loudest = i
		}
	}
	fmt.Println(machine.Frames(), "frames, the click at", loudest)
	// Output: 48000 frames, the click at 16000
}

func ExampleResampler() {
	r := resample.New(48000, 32000, 1, resample.Options{})
	in := [][]float64{make([]float64, 480)} // ten blocks of 10 ms
	out := [][]float64{make([]float64, 1000)}
	total := 0
	for range 10 {
		_, n := r.Process(out, in)
		total += n
	}
	for n := r.Flush(out); n > 0; n = r.Flush(out) {
		total += n
	}
	fmt.Println(total)
	// Output: 3200
}
