// Package feed is everything the gateway knows about feeding pots: the
// arithmetic of labels, strengths, stock solutions and conductivity; how much
// ready solution a container gets; a ledger of N, P and K and one of salts for
// each zone; when a feed is due and why; and the sequence that carries a feed
// out, or hands it to the gardener.
//
// Units: product and nutrient masses in grams, volumes in litres, strengths in
// mg/L (which growers call ppm), concentrations of product in g/L, electrical
// conductivity (EC) in mS/cm at 25 °C. "P" and "K" always mean the elements;
// the oxides of a label are converted once, at [Elements].
//
// The package decides, and neither touches a device nor asks a clock. What the
// caller owes it:
//
//  1. Write the records that [Step] returns before the order that came with
//     them reaches a valve. They are what makes a feed happen at most once.
//  2. After a restart build the state with [Rebuild] from those records.
//  3. Bind the order's number with [State.Bind] and pass every delivery and
//     refusal back, in any order and as often as one likes.
//
// Cautions that belong with feeding wherever it is shown: read the product's
// label first and follow it; gloves and eye protection when mixing; keep
// products and stock out of children's and animals' reach; keep feed out of
// drinking water with an air gap or the backflow device the local code asks
// for.
package feed
