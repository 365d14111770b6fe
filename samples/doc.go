// Package samples is the ground floor of tachbench: sound in memory, what is
// known about a sound file, and the words for levels.
//
// It holds types only. Codecs (samples/wav, samples/file), rate conversion
// (samples/resample), crank geometry (samples/crank), the engine bank
// (samples/bank) and the sound sheet (samples/sheet) are its children and
// import it; it imports none of them and passes no judgement about sound.
package samples
