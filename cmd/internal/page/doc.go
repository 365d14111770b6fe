// Package page serves the bench page: a machine's sound on headphones, in a
// browser on this computer, with a hand on the lever. This is the Go side; the
// browser's lies in assets.
//
// # Who is let in
//
// The server listens on the loopback interface. It answers requests that name
// it by one of its own addresses in Host (421 otherwise, so that no foreign
// name can be pointed at it) and that carry the token of this run in a cookie
// (403 otherwise), which the printed address sets. The socket takes only its
// own Origin. There are GET and HEAD; neither changes anything. What is served
// is what is built in; no file of the package is.
//
//	GET /?token=T     sets the cookie and leads to /
//	GET /             the page
//	GET /assets/NAME  its parts
//	GET /package.json what the sheet says, once
//	GET /map.json     callouts × revs; 404 until the plan is ready
//	GET /sound        the WebSocket
//
// # The socket
//
// To the browser, binary: a block of sound, a header of 16 bytes (see block.go)
// and interleaved float32. Text is JSON with a "kind": state (20 a second),
// plan, error, busy, taken, silenced. From the browser, text up to 4 KB (see control.go);
// what is malformed closes the socket with 1008 and the reason.
//
// # The clock
//
// The browser's consumption is the clock: it reports the frames it has played
// every 10 ms, and blocks of 10 ms follow while fewer than the lead are under
// way (see pacing.go). Without a report for a second the lever is released and
// sending waits. One tab plays and works the bench; another one may take over,
// and any may silence. Who begins to play begins at the start volume.
package page
