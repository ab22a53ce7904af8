// Package assembly is what the record and the commands share of the measurements that are no sweep: a traverse, a bar,
// a travel, a cross. It reads their files into stored readings, fits stored readings, and writes them as files again.
package assembly
