package defect

// Kind is the role of a sound on the machine. It decides which rules apply and
// some of the limits. The sheet's category names map onto it by [KindOf].
type Kind int

// The kinds of sound. Other is any category the product has no special rules
// for.
const (
	Other Kind = iota
	Callout
	Effect
	Music
	Engine
)

var kindNames = [...]string{Other: "other", Callout: "callout", Effect: "effect", Music: "music", Engine: "engine"}

// String returns the category name of the sound sheet, "other" for Other.
func (k Kind) String() string { return kindNames[k] }

// KindOf returns the kind for a category name of the sound sheet; names of the
// user's own are Other.
func KindOf(category string) Kind {
	for k, name := range kindNames {
		if name == category {
			return Kind(k)
		}
	}
	return Other
}
