//go:build !race

package standin

const raceOn = false
