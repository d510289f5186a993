// Package hub tells home-automation hubs what the garden has and what it may be
// asked, over package mqtt.
//
// The runner fills a Snapshot. A Publisher turns it into the garden's own topics
// (package report, always) and into a description for hubs in one or both of two
// schemes: the device-based discovery document that common hubs read over MQTT
// (Discovery), and Homie 5 (Homie). The keys of a scheme live in its encoder
// here and nowhere else.
//
// A hub gets a bounded wish at most: its valve opens for a default number of
// litres, its switches keep shut for a bounded time. All of it passes the same
// desk, controller and permit as anybody's.
package hub
