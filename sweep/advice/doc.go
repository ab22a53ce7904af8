// Package advice says what to move next, by how much, and when to stop.
//
// # Model
//
// The lean is x = (tilt, nod). A move m, one signed amount for each adjuster, takes it to
//
//	x' = x + B m + w
//
// where column j of B is what one unit of adjuster j really does to the two axes, and w is what tightening adds. Each
// measurement is x with a standard uncertainty of its own on each axis. B is not known: the adjusters' descriptions
// give its nominal value, and a real one may be weaker, stronger, skewed into the other axis, or even turned round.
//
// What is believed about x, B and w is a sum of Gaussians, each a linear-Gaussian state of 2 + 2n numbers updated in
// closed form (the Kalman filter; several of them weighted by how well they foretold each measurement are a Gaussian
// sum filter, Alspach and Sorenson 1972, IEEE Transactions on Automatic Control 17:439, from memory). The terms differ
// in how close to its nominal effects the machine is, in how much tightening disturbs it, and in what became of each
// move: done as asked, an adjuster stuck, something slipped. A move that contradicts the rest therefore moves the
// belief little, and is named.
//
// # Choice
//
// Among the amounts that exist (any, whole steps, stacks of the shims on hand) the move is taken after which both axes
// are most likely within the limit, integrated over the belief; where no move gets there, the one that ends nearest.
// Weighing also what a move would teach for the one after it was tried on the machines of the study and left out: where
// it changed the choice, towards smaller first moves, jobs took as long or longer.
//
// # Units
//
// Leans are in mm/m, positive as in package sweep. Amounts are in the adjuster's own unit. Nothing here reads a file, a
// clock or a random number: the same log gives the same answer.
package advice
