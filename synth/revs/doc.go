// Package revs is the crank model: how fast an engine turns, and how hard it
// pulls, when somebody works a lever.
//
// It solves J·dω/dt = torque − friction − load on a fixed grid of half a
// millisecond. Torque follows the lever through a first-order lag (the
// manifold fills), friction follows the mean-effective-pressure law of
// Heywood 1988, eq. 13.6, a PI governor with a natural, seeded hunting holds
// idle, and a limiter cuts torque at the redline. Because friction grows
// with revs a coast-down is steep at first and flattens towards idle.
//
// The load that comes out beside the revs is what the sound's colour should
// follow: 0 on the overrun, IdleLoad at a steady idle, 1 at full torque.
//
// Same Spec, same seed, same lever: same bits, however the caller slices
// time.
package revs
