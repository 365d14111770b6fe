package sii_test

import (
	"fmt"

	"tachbench/analysis/sii"
)

// Raised speech at 0.7 m in loud talk from 2 m; a separate script gives 0.5112.
func ExampleIndex() {
	speech := sii.Speech(sii.Raised, 0.7, sii.Levels{})
	crowd := sii.Speech(sii.Loud, 2, sii.Levels{})
	index, detail := sii.Index(speech, crowd, sii.Levels{}, sii.AverageSpeech)
	fmt.Printf("%.2f, %s; %.0f %% of sentences; at 1 kHz %.0f %% is audible\n",
		index, sii.Judge(index), sii.SentencesPercent(index), 100*detail.K[8])
	// Output:
	// 0.51, understood; 94 % of sentences; at 1 kHz 48 % is audible
}
