// Package uncertainty states how far a measured value can be trusted, and what that means for a decision.
//
// A Budget lists the components of the uncertainty of one value, each with its type, standard uncertainty, sensitivity
// and degrees of freedom, and combines them by the law of propagation with the Welch-Satterthwaite degrees of freedom
// (JCGM 100:2008, clauses 5.1.2 and G.4). Inside turns a value and its uncertainty into the probability of conformity
// with a tolerance (JCGM 106:2012, clause 7), and Decide applies the guard band of ISO 14253-1.
package uncertainty
