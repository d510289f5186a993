// Package notify carries alarms to a person who is not looking at page or hub: by
// webhook, by mail, by a lamp or buzzer.
//
// Book decides and is pure: state, moment and standing alarms in, at most one
// message out. It tells a new alarm once, repeats it with a growing interval until
// somebody acknowledges it, tells when it is over, keeps quiet hours for all but
// serious alarms, bounds the messages of an hour, and once a month says that
// messages arrive, so that silence means something.
//
// Post owns the rest: one goroutine that asks the Book, and one for each way out
// with a bounded queue, time-outs and retries. Nothing here is ever waited for by
// the loop, which does not know that it exists: alarms are read from the status
// it publishes.
package notify
