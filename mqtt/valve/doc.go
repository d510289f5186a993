// Package valve drives valves at the far end of a broker. A Valve is a
// valves.Actuator.
//
// An open command says how long to stay open and for which order, so the valve
// closes by itself if we are never heard again. It is sent with quality of
// service 0, without retain, and only while there is a connection: nobody may
// deliver it later. A close command is repeated until it is confirmed.
//
// What a valve's node says of itself names the last command it obeyed, and that
// name is the proof: a state counts as the confirmation of a command only if it
// carries that command's id. A retained state, one from before the command, or
// one that was overtaken proves nothing. CONTRACT.md tells the node's side.
//
// A device that knows ON and OFF only can prove less: any state heard after the
// command must do. It is used only if the garden file says that it has a time
// limit of its own.
//
// While the link is down, a node is silent or a command unanswered, Closed says
// that nothing is known; Trouble says why, for a person.
package valve
