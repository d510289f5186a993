// Package alarm is the life of an alarm: raised, acknowledged, cleared, taken
// out of service and put back. The words are those of ISA-18.2 (from memory).
//
// A Book is a plain state machine. It is told once a tick which conditions hold
// and which do not, and says what changed; time comes in as a value. There is at
// most one alarm per cause, a cause being a Kind and what it is about, however
// often the condition comes and goes: a delay before it is raised and one before
// it is cleared keep a condition at its limit from ringing all day.
//
// A Book belongs to one goroutine.
package alarm
