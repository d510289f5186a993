// Package mqtt is the link to a broker. It hides the client library behind one
// small type, Link, because a garden has needs the library's defaults do not
// meet: nothing that was meant for one moment may arrive in another, and a
// broker that is slow, gone, flooding or hostile costs bounded memory and never
// a stalled loop.
//
// A Link offers two ways out. Post keeps the latest value of each topic and
// sends it whenever there is a connection: state, for readers that come late.
// Send is for what must arrive now or never: commands to valves, events,
// answers. It is refused while the link is down and forgotten when the link
// goes down, so no order to open survives an outage.
//
// What arrives goes into bounded inboxes; where one is full the oldest message
// gives way and is counted. An inbox has the order in which the broker sent: a
// node's last word, or its will, is read last. What came by different ways to
// the broker has no order there, so whoever reads an inbox still looks at
// sequence numbers and identities.
//
// The caller declares its subscriptions, then calls Start, and Close at the
// end. With no broker reachable every call still returns at once.
//
// The subpackages use the link: topic and payload decode, probe, valve, sky and
// command turn messages into the garden's own values, report turns the garden's
// values into messages, broker is the embedded broker. CONTRACT.md is the
// contract for whoever is at the other end, schema/ its JSON Schemas.
package mqtt
