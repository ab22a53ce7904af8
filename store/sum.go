package store

import (
	"context"
	"database/sql"
	"encoding/binary"
	"fmt"
	"hash/crc32"
	"math"
	"slices"
	"strings"

	"github.com/mattn/go-sqlite3"
)

// summed are the tables whose rows carry a checksum in their column sum. Readings have one in each chunk and setups a
// hash.
var summed = []string{"run", "result", "line", "event", "doubt", "meter", "zero"}

// spoiledSum stands for a row that was written to after it was found spoiled: no CRC-32 is negative.
const spoiledSum = -1

// rowSum is the SQL function row_sum: the CRC-32C of its arguments, each by its type and its bytes. A spoiled bit is
// always noticed, and so is every burst of up to 32.
func rowSum(columns ...any) (int64, error) {
	sum := uint32(0)
	var head [9]byte
	add := func(kind byte, n uint64, text []byte) {
		head[0] = kind
		binary.LittleEndian.PutUint64(head[1:], n)
		sum = crc32.Update(crc32.Update(sum, castagnoli, head[:]), castagnoli, text)
	}
	for _, c := range columns {
		switch c := c.(type) {
		case nil:
			add('b', 0, nil) // the driver gives NULL as an empty blob
		case int64:
			add('i', uint64(c), nil)
		case float64:
			add('r', math.Float64bits(c), nil)
		case string:
			add('t', uint64(len(c)), []byte(c))
		case []byte:
			add('b', uint64(len(c)), c)
		default:
			return 0, fmt.Errorf("row_sum: %T is no type of SQLite's", c)
		}
	}
	return int64(sum), nil
}

// RowSum gives a connection the SQL function row_sum, without which nothing can be written to a record beside the
// store.
func RowSum(c *sqlite3.SQLiteConn) error { return c.RegisterFunc("row_sum", rowSum, true) }

// lineJSON is a line's JSON, or NULL where a spoiled byte left none: one bad row must not end the reading of all the
// others.
const lineJSON = "(CASE WHEN json_valid(line.json) THEN line.json END)"

// sumOver is the expression that gives a row's sum, from its columns but the sum itself, in the table's order.
func sumOver(row string, columns []string) string {
	args := make([]string, len(columns))
	for i, c := range columns {
		args[i] = row + "." + c
	}
	return "row_sum(" + strings.Join(args, ", ") + ")"
}

// sound is the condition under which a row is as it was written.
func sound(row string, columns []string) string {
	return "(" + row + ".sum IS " + sumOver(row, columns) + ")"
}

// soundness returns that condition for each table with sums, its row called by the table's name.
func soundness(ctx context.Context, db rowsQuerier) (map[string]string, error) {
	out := map[string]string{}
	for _, table := range summed {
		columns, err := summedColumns(ctx, db, table)
		if err != nil {
			return nil, err
		}
		out[table] = sound(table, columns)
	}
	return out, nil
}

func summedColumns(ctx context.Context, db rowsQuerier, table string) ([]string, error) {
	names, _, err := columnsOf(ctx, db, table)
	return slices.DeleteFunc(names, func(c string) bool { return c == `"sum"` }), err
}

// keepSums makes the triggers that keep the sums and fills in the sums of rows that had none, or had one over fewer
// columns: a table that got another column is covered whole. A row that was spoiled before stays so.
func (s *Store) keepSums(ctx context.Context) error {
	return s.write(ctx, func(ctx context.Context, tx *sql.Tx) error {
		for _, table := range summed {
			if err := keepSumsOf(ctx, tx, table); err != nil {
				return fmt.Errorf("sums of %s: %w", table, err)
			}
		}
		return nil
	})
}

func keepSumsOf(ctx context.Context, tx *sql.Tx, table string) error {
	names, key, err := columnsOf(ctx, tx, table)
	if err != nil {
		return err
	}
	if !slices.Contains(names, `"sum"`) { // an older schema in a test
		return nil
	}
	columns := slices.DeleteFunc(names, func(c string) bool { return c == `"sum"` })
	wanted := sumTriggers(table, key, columns)
	before, err := presentTriggers(ctx, tx, table)
	if err != nil {
		return err
	}
	same := len(before) == len(wanted)
	for name, text := range wanted {
		same = same && before[name] == text
	}
	if same {
		return nil
	}
	for name := range before {
		if _, err := tx.ExecContext(ctx, "DROP TRIGGER "+quoted(name)); err != nil {
			return err
		}
	}
	was := "1" // the rows are believed as they are, for nothing better is known
	if old := coveredBy(before[table+"_sum_new"]); old != nil {
		for _, c := range old {
			if !slices.Contains(columns, c) {
				return fmt.Errorf("%w: a trigger of table %s is spoiled", ErrDamaged, table)
			}
		}
		was = sound(table, old)
	}
	fill := fmt.Sprintf("UPDATE %s SET sum = CASE WHEN %s THEN %s ELSE %d END", table, was, sumOver(table, columns),
		spoiledSum)
	if _, err := tx.ExecContext(ctx, fill); err != nil {
		return err
	}
	for _, text := range wanted {
		if _, err := tx.ExecContext(ctx, text); err != nil {
			return err
		}
	}
	return nil
}

// presentTriggers returns the triggers that keep the sums of a table as they stand in the file, by name.
func presentTriggers(ctx context.Context, tx *sql.Tx, table string) (map[string]string, error) {
	rows, err := tx.QueryContext(ctx, "SELECT name, sql FROM sqlite_schema WHERE type = 'trigger' AND name IN (?, ?)",
		table+"_sum_new", table+"_sum_set")
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	out := map[string]string{}
	for rows.Next() {
		var name, text string
		if err := rows.Scan(&name, &text); err != nil {
			return nil, err
		}
		out[name] = text
	}
	return out, rows.Err()
}

// sumTriggers are the triggers of a table, by name.
func sumTriggers(table, key string, columns []string) map[string]string {
	return map[string]string{
		table + "_sum_new": fmt.Sprintf(
			"CREATE TRIGGER %[1]s_sum_new AFTER INSERT ON %[1]s BEGIN UPDATE %[1]s SET sum = %[2]s WHERE %[3]s = new.%[3]s; END",
			table, sumOver("new", columns), key),
		table + "_sum_set": fmt.Sprintf(`CREATE TRIGGER %[1]s_sum_set AFTER UPDATE OF %[4]s ON %[1]s BEGIN
			UPDATE %[1]s SET sum = CASE WHEN %[5]s THEN %[2]s ELSE %[6]d END WHERE %[3]s = new.%[3]s; END`,
			table, sumOver("new", columns), key, strings.Join(columns, ", "), sound("old", columns), spoiledSum),
	}
}

// coveredBy reads out of a trigger which columns its sum is over; nil where there is none.
func coveredBy(trigger string) []string {
	_, rest, found := strings.Cut(trigger, "row_sum(")
	list, _, closed := strings.Cut(rest, ")")
	if !found || !closed {
		return nil
	}
	var out []string
	for _, c := range strings.Split(list, ", ") {
		out = append(out, strings.TrimPrefix(c, "new."))
	}
	return out
}
