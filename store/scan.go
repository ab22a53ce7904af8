package store

import (
	"context"
	"database/sql"
	"encoding/binary"
	"fmt"
	"io"
	"math"
	"os"
	"strings"
)

// Where the way to a page is lost, with a page above it or the list of tables, SQLite does not find what is on it. The
// rows are read from the pages themselves then (SQLite, "Database File Format", sections 1.6 and 2.1), and believed
// only where their own checksum says that they are what was written: it says as well which table they are of.

const (
	pageLeaf   = 13 // of a table
	maxPayload = 64 << 20
	maxFields  = 64
)

// rawPages are the pages of a file.
type rawPages struct {
	f    io.ReaderAt
	size int // of a page
	n    int64
}

// rawRow is a row as it lies on a page.
type rawRow struct {
	id     int64
	fields []any // int64, float64, string, []byte or nil
}

// eachRow calls do for every row that can be read on any page that looks like a leaf of a table.
func (p rawPages) eachRow(ctx context.Context, do func(rawRow) error) error {
	page := make([]byte, p.size)
	for n := int64(1); n <= p.n && ctx.Err() == nil; n++ {
		if _, err := p.f.ReadAt(page, (n-1)*int64(p.size)); err != nil {
			continue // what the disk does not give back
		}
		for _, row := range p.rowsOn(page, n == 1) {
			if err := do(row); err != nil {
				return err
			}
		}
	}
	return ctx.Err()
}

func (p rawPages) rowsOn(page []byte, first bool) []rawRow {
	head := 0
	if first {
		head = headerBytes
	}
	if page[head] != pageLeaf {
		return nil
	}
	var out []rawRow
	cells := int(binary.BigEndian.Uint16(page[head+3:]))
	for i := range cells {
		at := head + 8 + 2*i
		if at+2 > len(page) {
			break
		}
		if row, ok := p.cell(page, int(binary.BigEndian.Uint16(page[at:]))); ok {
			out = append(out, row)
		}
	}
	return out
}

// cell reads one row, with what of it lies on pages of its own.
func (p rawPages) cell(page []byte, at int) (rawRow, bool) {
	if at < 8 || at >= len(page) {
		return rawRow{}, false
	}
	rest := page[at:]
	length, n := sqliteVarint(rest)
	rest = rest[n:]
	id, m := sqliteVarint(rest)
	rest = rest[m:]
	if n == 0 || m == 0 || length <= 0 || length > maxPayload {
		return rawRow{}, false
	}
	payload, ok := p.payload(rest, int(length))
	if !ok {
		return rawRow{}, false
	}
	fields, ok := record(payload)
	return rawRow{id, fields}, ok
}

// payload joins what lies on the leaf with what overflowed from it (section 1.6, "Cell Payload Overflow Pages").
func (p rawPages) payload(rest []byte, length int) ([]byte, bool) {
	local := length
	if most := p.size - 35; length > most {
		least := (p.size-12)*32/255 - 23
		local = least + (length-least)%(p.size-4)
		if local > most {
			local = least
		}
	}
	if local == length {
		return rest[:min(length, len(rest))], len(rest) >= length
	}
	if len(rest) < local+4 {
		return nil, false
	}
	out := append(make([]byte, 0, length), rest[:local]...)
	next := int64(binary.BigEndian.Uint32(rest[local:]))
	page := make([]byte, p.size)
	for len(out) < length {
		if next < 2 || next > p.n {
			return nil, false
		}
		if _, err := p.f.ReadAt(page, (next-1)*int64(p.size)); err != nil {
			return nil, false
		}
		next = int64(binary.BigEndian.Uint32(page))
		out = append(out, page[4:4+min(p.size-4, length-len(out))]...)
	}
	return out, true
}

// record takes a payload apart into its fields.
func record(payload []byte) ([]any, bool) {
	headLen, n := sqliteVarint(payload)
	if n == 0 || headLen < int64(n) || headLen > int64(len(payload)) {
		return nil, false
	}
	types, body := payload[n:headLen], payload[headLen:]
	var out []any
	for len(types) > 0 && len(out) < maxFields {
		kind, n := sqliteVarint(types)
		if n == 0 {
			return nil, false
		}
		types = types[n:]
		value, size, ok := field(kind, body)
		if !ok {
			return nil, false
		}
		body = body[size:]
		out = append(out, value)
	}
	return out, len(types) == 0 && len(body) == 0
}

// field reads one value by its serial type.
func field(kind int64, body []byte) (value any, size int, ok bool) {
	whole := func(n int) (any, int, bool) {
		if len(body) < n {
			return nil, 0, false
		}
		var x int64
		for i := range n {
			if i == 0 {
				x = int64(int8(body[0]))
				continue
			}
			x = x<<8 | int64(body[i])
		}
		return x, n, true
	}
	switch {
	case kind == 0:
		return nil, 0, true
	case kind >= 1 && kind <= 4:
		return whole(int(kind))
	case kind == 5:
		return whole(6)
	case kind == 6:
		return whole(8)
	case kind == 7:
		if len(body) < 8 {
			return nil, 0, false
		}
		return math.Float64frombits(binary.BigEndian.Uint64(body)), 8, true
	case kind == 8, kind == 9:
		return kind - 8, 0, true
	case kind >= 12 && (kind-12)/2 <= int64(len(body)):
		n := int((kind - 12) / 2)
		if kind%2 == 0 {
			return append([]byte{}, body[:n]...), n, true
		}
		return string(body[:n]), n, true
	}
	return nil, 0, false
}

// sqliteVarint reads a number of one to nine bytes, the most significant first; n is 0 where it is cut short.
func sqliteVarint(b []byte) (x int64, n int) {
	for i := range min(len(b), 9) {
		if i == 8 {
			return x<<8 | int64(b[i]), 9
		}
		x = x<<7 | int64(b[i]&0x7f)
		if b[i] < 0x80 {
			return x, i + 1
		}
	}
	return 0, 0
}

// rawTable is how rows of a table are known and saved.
type rawTable struct {
	name    string
	columns []string
	real    []bool // of the columns
	sum     int    // which column is the sum; -1: there is none
	save    string
}

// scan saves the rows that can be read from the pages alone and that SQLite did not find. It gives how many.
func (out *Saved) scan(ctx context.Context, path string, page int, to *Store) (found int, err error) {
	f, err := os.Open(path)
	if err != nil {
		return 0, err
	}
	defer f.Close()
	st, err := f.Stat()
	if err != nil {
		return 0, err
	}
	var tables []rawTable
	for _, name := range []string{"setup", "run", "chunk", "result", "event", "doubt", "meter", "zero"} {
		t, err := newRawTable(ctx, to.w, name)
		if err != nil {
			return 0, err
		}
		tables = append(tables, t)
	}
	pages := rawPages{f: f, size: page, n: st.Size() / int64(page)}
	// Runs first, so that it is known whose readings were let go; of two states of one run the one that has ended.
	for _, pass := range []func(rawTable, rawRow) bool{
		func(t rawTable, r rawRow) bool { return t.name == "setup" },
		func(t rawTable, r rawRow) bool { return t.name == "run" && r.fields[t.at("outcome")] != "" },
		func(t rawTable, r rawRow) bool { return t.name == "run" },
		func(t rawTable, r rawRow) bool { return t.name != "setup" && t.name != "run" },
	} {
		n, err := saveRaw(ctx, pages, tables, to, pass)
		if err != nil {
			return found, err
		}
		for table, rows := range n {
			out.Rows[table] += rows
			found += rows
		}
	}
	return found, nil
}

func saveRaw(ctx context.Context, pages rawPages, tables []rawTable, to *Store, wanted func(rawTable, rawRow) bool) (
	map[string]int, error) {
	rows := map[string]int{}
	err := to.write(ctx, func(ctx context.Context, tx *sql.Tx) error {
		return pages.eachRow(ctx, func(r rawRow) error {
			for _, t := range tables {
				if !t.believes(&r) || !wanted(t, r) {
					continue
				}
				res, err := tx.ExecContext(ctx, t.save, t.values(r)...)
				if isConstraint(err) {
					return nil
				}
				if err != nil {
					return err
				}
				n, err := res.RowsAffected()
				rows[t.name] += int(n)
				return err
			}
			return nil
		})
	})
	if err != nil {
		return nil, to.fault("save rows from their pages", err)
	}
	return rows, nil
}

func newRawTable(ctx context.Context, db *sql.DB, name string) (rawTable, error) {
	t := rawTable{name: name, sum: -1}
	rows, err := db.QueryContext(ctx, "SELECT name, type = 'REAL' FROM pragma_table_info(?)", name)
	if err != nil {
		return t, err
	}
	defer rows.Close()
	for rows.Next() {
		var column string
		var real bool
		if err := rows.Scan(&column, &real); err != nil {
			return t, err
		}
		if column == "sum" {
			t.sum = len(t.columns)
		}
		t.columns, t.real = append(t.columns, column), append(t.real, real)
	}
	var into []string
	for i, c := range t.columns {
		if i != t.sum {
			into = append(into, quoted(c))
		}
	}
	gone := ""
	if name == "chunk" { // a page that is free now may still hold what was let go
		gone = " WHERE NOT EXISTS (SELECT 1 FROM run WHERE id = ?2 AND readings_gone = 1)"
	}
	marks := make([]string, len(into))
	for i := range marks {
		marks[i] = fmt.Sprintf("?%d", i+1)
	}
	t.save = fmt.Sprintf("INSERT OR IGNORE INTO %s (%s) SELECT %s%s", quoted(name), strings.Join(into, ", "),
		strings.Join(marks, ", "), gone)
	return t, rows.Err()
}

func (t rawTable) at(column string) int {
	for i, c := range t.columns {
		if c == column {
			return i
		}
	}
	return 0
}

// believes reports whether a row is one of this table, as it was written. The first column is the row's number.
func (t rawTable) believes(r *rawRow) bool {
	if len(r.fields) != len(t.columns) || r.fields[0] != nil {
		return false
	}
	switch t.name {
	case "chunk":
		run, ok1 := r.fields[1].(int64)
		seq, ok2 := r.fields[2].(int64)
		data, ok3 := r.fields[5].([]byte)
		return ok1 && ok2 && ok3 && run<<20|seq == r.id && chunkSound(data)
	case "setup":
		hash, ok1 := r.fields[1].([]byte)
		text, ok2 := r.fields[2].(string)
		tolerance, ok3 := r.fields[3].(string)
		if !ok1 || !ok2 || !ok3 || len(hash) != 32 {
			return false
		}
		sum := setupHash(text, tolerance)
		return string(sum[:]) == string(hash)
	}
	want, ok := r.fields[t.sum].(int64)
	if !ok {
		return false
	}
	got, err := rowSum(t.values(*r)...)
	return err == nil && got == want
}

// values are the fields as SQLite gives them, without the sum.
func (t rawTable) values(r rawRow) []any {
	out := make([]any, 0, len(r.fields))
	for i, v := range r.fields {
		if i == t.sum {
			continue
		}
		if i == 0 {
			v = r.id
		}
		if x, whole := v.(int64); whole && t.real[i] { // a real without a fraction is stored as a whole number
			v = float64(x)
		}
		out = append(out, v)
	}
	return out
}
