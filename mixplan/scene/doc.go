// Package scene lays a scene of the sound sheet out in time: which sound
// starts at which frame, how it loops, which curve the engine follows, and
// when each sound speaks, that is, when others yield to it.
//
// # Channels
//
// A scene has two channels, or one if everything in it is mono. A mono sound
// plays alike in both, without a change of gain, as machines do. Files with
// more channels are folded down when they are read, after ITU-R BS.775 with
// equal power: front left and right as they are, a centre at -3 dB in both, a
// surround at -3 dB on its side, LFE left out. Speakers are taken from the
// file's own mask; a file without one is taken in the order of WAVE files (3:
// left right centre; 4: front and back; 5, 6: 5.0, 5.1; 7: 6.1; 8: 7.1), and
// beyond eight channels odd ones are left and even ones right, all at -3 dB.
// The fold may exceed full scale.
//
// # Loops
//
// A cue with loop = true repeats to the end of the scene: between the first
// loop points in the file (`smpl` chunk) if there are any, what lies before
// them once, else the whole file. The file's own count of plays is passed
// over, and so are the loop points of a cue that does not loop.
//
// # The engine
//
// A curve sounds from its cue to its last row, or until the next curve
// begins: a machine has one engine.
//
// # When a sound speaks
//
// Speech is found in the file's own level, after the idea of ITU-T P.56: the
// active level P is the mean power of all 10 ms frames that lie within the
// margin of 15.9 dB under P itself. Frames over that margin are active; pauses
// up to 0.2 s (the hangover of P.56) belong to it. Since soft consonants lie
// under the margin, a stretch is widened by 30 ms in front and 50 ms behind
// (common practice, no source). A file under -70 dBFS throughout never speaks.
package scene
