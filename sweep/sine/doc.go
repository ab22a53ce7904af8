// Package sine fits a wave of unknown frequency to readings at known times.
//
// The four-parameter fit is that of IEEE Std 1057 (method as stated in several public implementations; clause from
// memory): least squares for A, B and C of A cos wt + B sin wt + C, with one more column, t(-A sin wt + B cos wt), for
// a step of the frequency w, repeated until the step is nothing. Fit can add waves of whole multiples of w, as a
// surface swept over and over has them, and a drift; with neither it is the standard's own.
package sine
