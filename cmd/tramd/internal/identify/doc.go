// Package identify finds out what an unknown instrument sends: from the bytes heard at each speed of a line it makes
// the configuration that reads them, and proves it by decoding what was heard with exactly that configuration. It is
// pure; who listens is somebody else.
//
// A guess must explain nearly every byte, many frames in a row, before it is a finding, so noise and what is heard at a
// wrong speed give none. What the bytes cannot show (the length of a count, the meaning of a letter that never changed)
// is said in the finding's notes.
package identify
