//go:build !race

package page

const soakMinutes = 10
