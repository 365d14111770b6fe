// Package listen is what a person on headphones hears of the machine, live.
package listen
