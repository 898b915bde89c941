package store

import (
	"context"
	"fmt"
	"io/fs"
	"slices"
	"strconv"
	"strings"

	"github.com/pressly/goose/v3"
)

// A Newer is the error of tables that a newer freshet wrote. This one changes
// nothing in them.
type Newer struct {
	Have, Need int64    // versions: of the tables, and the newest that this freshet knows
	Group      bool     // they are in a group's database, and
	Shops      []string // of these shops; empty: of what is the group's
}

func (n *Newer) Error() string {
	if !n.Group {
		return fmt.Sprintf("a newer freshet wrote this database: need tables of version %d or less, have %d; open it with that one, or go back to a backup from before with 'freshet restore'", n.Need, n.Have)
	}
	whose := "what is of all shops"
	if len(n.Shops) > 0 {
		const most = 5
		whose = "the tables of " + strings.Join(n.Shops[:min(most, len(n.Shops))], ", ")
		if more := len(n.Shops) - most; more > 0 {
			whose += fmt.Sprintf(" and %d more shops", more)
		}
	}
	return fmt.Sprintf("a newer freshet wrote %s: need version %d or less, have %d; start that one here too, or end all of them and go back to a dump from before with pg_restore", whose, n.Need, n.Have)
}

func notNewer(have, newest int64) error {
	if have > newest {
		return &Newer{Have: have, Need: newest}
	}
	return nil
}

// newestOf gives the newest version of a folder of migrations.
func newestOf(files fs.FS, dir string) (newest int64, err error) {
	names, err := fs.Glob(files, dir+"/*.sql")
	if err != nil {
		return 0, err
	}
	for _, name := range names {
		v, err := goose.NumericComponent(name)
		if err != nil {
			return 0, err
		}
		newest = max(newest, v)
	}
	return newest, nil
}

// atATime is how many shops one statement asks for their versions.
const atATime = 100

// Readable tells whether this freshet can read all shops: if not, the error is a
// *Newer that names those that it can't.
func (g *Group) Readable(ctx context.Context) error {
	newest, err := newestOf(groupMigrations, shopMigrations)
	if err != nil {
		return err
	}
	var shops []string
	if err := g.own.SelectContext(ctx, &shops, "SELECT name FROM shops WHERE to_regclass('shop_' || name || '."+goose.DefaultTablename+"') IS NOT NULL ORDER BY name"); err != nil {
		return wrap(err)
	}
	n := &Newer{Need: newest, Group: true}
	for some := range slices.Chunk(shops, atATime) {
		parts := make([]string, len(some))
		for i, shop := range some {
			parts[i] = "SELECT '" + shop + "' AS shop, max(version_id) AS have FROM " + schemaOf(shop) + "." + goose.DefaultTablename
		}
		var newer []struct {
			Shop string
			Have int64
		}
		if err := g.own.SelectContext(ctx, &newer, "SELECT shop, have FROM ("+strings.Join(parts, " UNION ALL ")+") AS all_shops WHERE have > "+strconv.FormatInt(newest, 10)+" ORDER BY shop"); err != nil {
			return wrap(err)
		}
		for _, s := range newer {
			n.Have, n.Shops = max(n.Have, s.Have), append(n.Shops, s.Shop)
		}
	}
	if n.Shops == nil {
		return nil
	}
	return n
}

// OldestServer is the oldest version of PostgreSQL on which the tests are run.
const OldestServer = 15

// checkServer refuses a server, by what it says of its version, that is older.
func checkServer(version string) error {
	var major int
	if _, err := fmt.Sscanf(version, "%d", &major); err == nil && major < OldestServer {
		return fmt.Errorf("store: need PostgreSQL %d or newer, have %s", OldestServer, version)
	}
	return nil
}
