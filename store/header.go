package store

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"os"
)

// The header of an SQLite file (SQLite, "Database File Format", section 1.3), as far as it is always the same in a file
// of this program, or follows from the file's length.
const (
	headerBytes = 100

	atPageSize = 16
	atFormats  = 18 // write and read version, reserved bytes, three fractions
	atCounter  = 24
	atPages    = 28
	atFree     = 32 // first page of the freelist, and how many there are
	atSchema   = 44 // schema format
	atLargest  = 52 // not 0: auto-vacuum
	atEncoding = 56
	atVersion  = 60
	atVacuum   = 64
	atApp      = 68
	atReserved = 72
	atValidFor = 92
)

// headerSpoiled says what of a file's header cannot be in a file of this program; nil where nothing is, or where the
// file is none of ours as far as can be seen.
func headerSpoiled(path string, ours bool, known int) error {
	h, size, err := readHeader(path)
	if err != nil || h == nil {
		return nil // opening it says so better
	}
	be := binary.BigEndian
	app := be.Uint32(h[atApp:]) == applicationID
	if string(h[:16]) != magic || !ours && !app {
		return nil
	}
	page, pages := pageSizeOf(h), int64(be.Uint32(h[atPages:]))
	trunk, free := int64(be.Uint32(h[atFree:])), int64(be.Uint32(h[atFree+4:]))
	version := be.Uint32(h[atVersion:])
	spoiled := func(what string) error {
		return fmt.Errorf("store %s: %w: its header is spoiled (%s)", path, ErrDamaged, what)
	}
	switch {
	case page == 0:
		return spoiled("page size")
	case h[18] < 1 || h[18] > 2 || h[19] != h[18] || h[20] != 0 || h[21] != 64 || h[22] != 32 || h[23] != 32:
		return spoiled("file format")
	case trunk > pages || free > pages || (trunk == 0) != (free == 0):
		return spoiled("list of free pages")
	case be.Uint32(h[atSchema:]) > 4 || be.Uint32(h[atLargest:]) != 0 || be.Uint32(h[atVacuum:]) != 0:
		return spoiled("schema format")
	case be.Uint32(h[atEncoding:]) > 1:
		return spoiled("text encoding")
	case !app && be.Uint32(h[atSchema:]) != 0: // 0: the file was only just made
		return spoiled("whose file it is")
	case version > 1<<16:
		return spoiled("version of the schema")
	case size%int64(page) != 0:
		return spoiled("the file ends within a page")
	case be.Uint32(h[atCounter:]) == be.Uint32(h[atValidFor:]) && pages != size/int64(page) && !hasLog(path):
		// SQLite would cut the file to what the header says.
		return spoiled("number of pages")
	}
	for _, b := range h[atReserved:atValidFor] {
		if b != 0 {
			return spoiled("what is always zero")
		}
	}
	return nil
}

// hasLog reports whether there is something in the write-ahead log: then the file may be any state of a checkpoint.
func hasLog(path string) bool {
	st, err := os.Stat(path + "-wal")
	return err == nil && st.Size() > 0
}

// readHeader returns the header and the file's length; nil where the file is too short to have one.
func readHeader(path string) ([]byte, int64, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, 0, err
	}
	defer f.Close()
	st, err := f.Stat()
	if err != nil {
		return nil, 0, err
	}
	h := make([]byte, headerBytes)
	if _, err := io.ReadFull(f, h); err != nil {
		if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
			return nil, st.Size(), nil
		}
		return nil, 0, err
	}
	return h, st.Size(), nil
}

// pageSizeOf reads the page size out of a header; 0 where it is none.
func pageSizeOf(h []byte) int {
	n := int(binary.BigEndian.Uint16(h[atPageSize:]))
	if n == 1 {
		n = 1 << 16
	}
	if n < 512 || n&(n-1) != 0 {
		return 0
	}
	return n
}

// mendHeader gives a copy of a damaged file a header that SQLite opens, and whole pages up to the length that the
// header speaks of, so that what is cut off or spoiled there does not hide the rest. It gives the page size.
func mendHeader(path string, known int) (page int, err error) {
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		return 0, err
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	st, err := f.Stat()
	if err != nil {
		return 0, err
	}
	h := make([]byte, headerBytes)
	if _, err := f.ReadAt(h, 0); err != nil && !errors.Is(err, io.EOF) {
		return 0, err
	}
	page = guessPage(f, st.Size(), pageSizeOf(h))
	be := binary.BigEndian
	pages := (st.Size() + int64(page) - 1) / int64(page)
	const slack = 64 << 20 // bytes that may be missing; zeros that are never written take no room
	if said := int64(be.Uint32(h[atPages:])); said > pages && (said-pages)*int64(page) <= slack+st.Size() {
		pages = said
	}
	pages = max(pages, 1)
	copy(h, magic)
	be.PutUint16(h[atPageSize:], uint16(page)) // 65536 becomes 0 ...
	if page == 1<<16 {
		be.PutUint16(h[atPageSize:], 1) // ... but is written as 1
	}
	copy(h[atFormats:], []byte{2, 2, 0, 64, 32, 32})
	be.PutUint32(h[atPages:], uint32(pages))
	clear(h[atFree : atFree+8]) // nothing is written to the copy
	be.PutUint32(h[atSchema:], 4)
	be.PutUint32(h[atLargest:], 0)
	be.PutUint32(h[atEncoding:], 1)
	if v := be.Uint32(h[atVersion:]); v == 0 || v > uint32(known) {
		be.PutUint32(h[atVersion:], uint32(known))
	}
	be.PutUint32(h[atVacuum:], 0)
	be.PutUint32(h[atApp:], applicationID)
	clear(h[atReserved:atValidFor])
	copy(h[atValidFor:atValidFor+4], h[atCounter:]) // or SQLite would not believe the number of pages
	if _, err := f.WriteAt(h, 0); err != nil {
		return 0, err
	}
	return page, f.Truncate(pages * int64(page))
}

// guessPage gives the size at which the pages look like pages: the smallest at which as many of them do as at the best.
// At half the right size every other page begins in the middle of one; at twice the size every other is left out.
func guessPage(f io.ReaderAt, size int64, said int) int {
	share := func(page int) float64 {
		trees, seen := countTrees(f, size, page)
		if seen == 0 {
			return 0
		}
		return float64(trees) / float64(seen)
	}
	best := 0.0
	for _, page := range []int{pageBytes, 2 * pageBytes, 4096, 8192} {
		best = max(best, share(page))
	}
	if size < 32*pageBytes || best == 0 { // too little to judge by
		if said != 0 {
			return said
		}
		return pageBytes
	}
	for _, page := range []int{pageBytes, 4096} { // what this program makes
		if share(page) >= 0.7*best {
			return page
		}
	}
	if said != 0 {
		return said
	}
	return pageBytes
}

// countTrees counts the pages, of up to 4000, that begin as those of a tree do.
func countTrees(f io.ReaderAt, size int64, page int) (trees, seen int) {
	var b [1]byte
	for at := int64(page); at < size && seen < 4000; at += int64(page) {
		if _, err := f.ReadAt(b[:], at); err != nil {
			break
		}
		seen++
		switch b[0] {
		case pageLeaf, 2, 5, 10:
			trees++
		}
	}
	return trees, seen
}
