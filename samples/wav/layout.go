package wav

// Format tags, WAVEFORMATEX.wFormatTag in Microsoft's mmreg.h.
const (
	tagPCM        = 0x0001
	tagFloat      = 0x0003
	tagExtensible = 0xFFFE
)

// Names of the tags met in the wild that this package refuses (mmreg.h).
var tagNames = map[uint16]string{
	0x0002: "Microsoft ADPCM",
	0x0006: "A-law",
	0x0007: "mu-law",
	0x0011: "IMA ADPCM",
	0x0016: "ITU G.723 ADPCM",
	0x0031: "GSM 6.10",
	0x0040: "ITU G.721 ADPCM",
	0x0050: "MPEG layer 1 or 2",
	0x0055: "MPEG layer 3 (mp3)",
	0x0092: "AC-3",
	0x0161: "Windows Media Audio",
	0x674F: "Ogg Vorbis",
	0xF1AC: "FLAC",
}

// guidTail is bytes 2..15 of the sub-format GUIDs that carry a plain format
// tag in their first two bytes (KSDATAFORMAT_SUBTYPE_..., ksmedia.h).
var guidTail = [14]byte{0x00, 0x00, 0x00, 0x00, 0x10, 0x00, 0x80, 0x00, 0x00, 0xAA, 0x00, 0x38, 0x9B, 0x71}

// Payload sizes in bytes.
const (
	fmtPlainSize      = 16
	fmtFloatSize      = 18 // with an empty extension, asked for when the tag is not PCM
	fmtExtensibleSize = 40
	ds64Size          = 28  // EBU Tech 3306, without table
	bextSize          = 602 // EBU Tech 3285 v2, without coding history
	smplHeadSize      = 36
	smplLoopSize      = 24
	cueHeadSize       = 4
	cuePointSize      = 24
)

// Offsets in the bext payload, EBU Tech 3285 v2.
const (
	bextOriginator = 256
	bextReference  = 288
	bextDate       = 320
	bextTime       = 330
	bextTimeRef    = 338
	bextVersion    = 346
	bextLoudness   = 412
	bextReserved   = 422

	loudnessUnset = 0x7FFF
	loudnessLimit = 9999 // hundredths; anything beyond ±99.99 is not set
)

// unknownSize stands in a 32-bit size field whose value is in ds64, or was
// never written.
const unknownSize = 0xFFFFFFFF

// Bounds on claims that would otherwise cost memory out of proportion.
const (
	maxChannels   = 1024
	maxRateHz     = 50_000_000
	maxMetaBytes  = 16 << 20 // all metadata payloads kept of one file
	readBlockSize = 64 << 10
)
