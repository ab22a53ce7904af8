// Package catalogue holds every text of the page and of the printed sheets, one file a language: a translation is a
// file here, named as its language is (de.json), with the keys of en.json. What a translation leaves out is shown in
// English.
//
// A translation has two parts. "texts" are what the page asks for by key. "said" are the sentences of the program
// itself: warnings, moves, what to do next, alarms, the printed sheets. Their key is the English sentence as it stands
// in the source, with a numbered blank for each name, {1}, and each figure, {#2}; their value is the translation. So a
// sentence that was stored years ago is shown in the reader's language too.
//
// The list of all sentences is cataloguetest/sentences.json; the program does not carry it, since English needs none. A
// test keeps it in step with the source; `go test ./cmd/tramd/internal/catalogue -update` writes it again.
//
// A catalogue does not change once it is read, and many goroutines may use it.
package catalogue
