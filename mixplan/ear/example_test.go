package ear_test

import (
	"fmt"

	"tachbench/analysis/sii"
	"tachbench/mixplan/ear"
	"tachbench/samples/sheet"
)

// A callout with the spectrum of raised speech at -20 dBFS in a hall, without and with an
// engine of -6 dBFS around 100 Hz. A separate script gives the same figures.
func Example() {
	cut := 110.0
	chain, err := ear.New(&sheet.Listening{LevelAtEarDB: 82, NoiseDBA: 78, SpeakerLowCutHz: &cut})
	if err != nil {
		fmt.Println(err)
		return
	}
	callout, engine := ear.Silence(), ear.Silence()
	raised := sii.Speech(sii.Raised, 1, sii.BandwidthDB)
	copy(callout[ear.SpeechFrom:], raised[:])
	callout = callout.Plus(-20 - callout.DB())
	engine[7] = -6

	speech, motor := chain.AtEar(callout), chain.AtEar(engine)
	fmt.Printf("callout %.1f dBA, engine %.1f dBA, hall %.1f dBA\n", speech.DBA(), motor.DBA(), chain.Hall.DBA())

	talker := sii.NewListener(sii.AverageSpeech, sii.Levels{}).Hear(speech.SpeechSpectrum())
	hall, both := chain.Hall.MaskerPower(), ear.Sum(chain.Hall, motor).MaskerPower()
	a, b := talker.IndexPower(&hall), talker.IndexPower(&both)
	fmt.Printf("in the hall %.2f (%s), with the engine %.2f (%s)\n", a, sii.Judge(a), b, sii.Judge(b))
	// Output:
	// callout 81.3 dBA, engine 74.2 dBA, hall 78.0 dBA
	// in the hall 0.52 (understood), with the engine 0.50 (understood)
}
