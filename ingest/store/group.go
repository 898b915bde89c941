package store

import (
	"context"
	"database/sql"
	"database/sql/driver"
	"embed"
	"errors"
	"fmt"
	"hash/fnv"
	"net/url"
	"regexp"
	"strings"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/jackc/pgx/v5/stdlib"
	"github.com/jmoiron/sqlx"
	"github.com/pressly/goose/v3"
	"github.com/pressly/goose/v3/lock"
)

//go:embed migrations/postgres/*.sql migrations/group/*.sql
var groupMigrations embed.FS

const shopMigrations = "migrations/postgres"

// A Group is a PostgreSQL database that several shops share, and this
// process's connections to it. Each shop has a schema of its own, shop_NAME,
// with the same tables as a file of SQLite's; the schema freshet has what is of
// all of them. A connection is set to see one shop's schema alone when it is
// taken for that shop: no statement names one.
type Group struct {
	pool    *pgxpool.Pool
	own     *sqlx.DB // the schema freshet
	address *url.URL // without shop and password
}

// Shared tells whether a database's address is of a group's PostgreSQL, and not
// of a file.
func Shared(address string) bool {
	return strings.HasPrefix(address, "postgres://") || strings.HasPrefix(address, "postgresql://")
}

// parseAddress takes the shop's name, empty if there is none, off an address.
func parseAddress(address string) (u *url.URL, shop string, err error) {
	if u, err = url.Parse(address); err != nil {
		return nil, "", errors.New("store: need an address such as postgres://user@host/database?shop=name, have one that can't be read") // it may hold a password
	}
	q := u.Query()
	shop = q.Get("shop")
	q.Del("shop")
	u.RawQuery = q.Encode()
	return u, shop, nil
}

var shopName = regexp.MustCompile(`^[a-z0-9_]{1,50}$`)

func checkShop(name string) error {
	if !shopName.MatchString(name) {
		return fmt.Errorf("store: need a shop's name of 1 to 50 small letters a to z, figures and underscores, have %q", name)
	}
	return nil
}

// AddressOf gives a group's address with the name of one of its shops. Where
// the address names another shop it is an error.
func AddressOf(address, shop string) (string, error) {
	u, err := url.Parse(address)
	if err != nil {
		_, _, err = parseAddress(address)
		return "", err
	}
	q := u.Query()
	if have := q.Get("shop"); have != "" && have != shop {
		return "", fmt.Errorf("store: need one shop, have %q in the address and %q", have, shop)
	}
	q.Set("shop", shop)
	u.RawQuery = q.Encode()
	return u.String(), checkShop(shop)
}

// OpenGroup connects to the database at an address such as
// postgres://user@host/database, and makes its list of shops if there is none.
// A password may stand in the address, in PGPASSWORD or in the file .pgpass;
// pool_max_conns is how many connections the process may have, 10 unless it
// is said.
func OpenGroup(ctx context.Context, address string) (*Group, error) {
	u, _, err := parseAddress(address)
	if err != nil {
		return nil, err
	}
	config, err := pgxpool.ParseConfig(u.String())
	if err != nil {
		return nil, wrap(err)
	}
	if !u.Query().Has("pool_max_conns") {
		config.MaxConns = 10
	}
	for name, value := range map[string]string{
		"application_name": "freshet",
		"lock_timeout":     "5000", // milliseconds, as SQLite's busy_timeout
		// Else a machine that lost its power could hold a shop's lock for hours.
		"tcp_keepalives_idle": "60", "tcp_keepalives_interval": "10", "tcp_keepalives_count": "3",
	} {
		config.ConnConfig.RuntimeParams[name] = value
	}
	config.PrepareConn = sit
	config.AfterConnect = func(_ context.Context, c *pgx.Conn) error {
		return checkServer(c.PgConn().ParameterStatus("server_version"))
	}
	if u.User != nil {
		u.User = url.User(u.User.Username())
	}
	g := &Group{address: u}
	if g.pool, err = pgxpool.NewWithConfig(ctx, config); err != nil {
		return nil, wrap(err)
	}
	g.own = g.db(seat{groupSchema, true})
	if err := g.prepare(ctx, groupSchema, "migrations/group"); err != nil {
		g.Close()
		return nil, err
	}
	return g, nil
}

const groupSchema = "freshet"

// A seat is what a connection is set to: it sees one schema's tables, and may
// write or not.
type seat struct {
	schema string
	writes bool
}

type seatKey struct{}

// sit sets a connection to the seat that it is taken for. Taken by any other
// way than a seat's it is set to the group's own tables.
func sit(ctx context.Context, c *pgx.Conn) (bool, error) {
	want, ok := ctx.Value(seatKey{}).(seat)
	if !ok {
		want = seat{groupSchema, true}
	}
	data := c.PgConn().CustomData()
	if data["seat"] == want {
		return true, nil
	}
	delete(data, "seat")
	readOnly := "on"
	if want.writes {
		readOnly = "off"
	}
	if _, err := c.Exec(ctx, "SELECT set_config('search_path', $1, false), set_config('default_transaction_read_only', $2, false)",
		pgx.Identifier{want.schema}.Sanitize()+", pg_temp", readOnly); err != nil {
		return false, err
	}
	data["seat"] = want
	return true, nil
}

// A seated connector takes connections from a pool for one seat.
type seated struct {
	driver.Connector
	seat seat
}

func (s seated) Connect(ctx context.Context) (driver.Conn, error) {
	c, err := s.Connector.Connect(context.WithValue(ctx, seatKey{}, s.seat))
	if err != nil {
		return nil, err
	}
	return &pgConn{c.(*stdlib.Conn), s.seat.writes}, nil
}

// db gives a database of one seat. Its connections go back to the pool after
// each use.
func (g *Group) db(s seat) *sqlx.DB {
	db := sql.OpenDB(seated{stdlib.GetPoolConnector(g.pool), s})
	db.SetMaxIdleConns(0)
	return sqlx.NewDb(db, "pgx")
}

// prepare makes a schema if there is none, and brings its tables up to date,
// whoever else does so at the same time.
func (g *Group) prepare(ctx context.Context, schema, dir string) error {
	var there bool
	if err := g.own.GetContext(ctx, &there, "SELECT to_regnamespace(?) IS NOT NULL", schema); err != nil {
		return wrap(err)
	}
	if !there { // two may make it at once, and PostgreSQL doesn't keep them apart here
		if _, err := g.own.ExecContext(ctx, "CREATE SCHEMA IF NOT EXISTS "+pgx.Identifier{schema}.Sanitize()); err != nil && stateOf(err) != uniqueViolation {
			return wrap(err)
		}
	}
	db := g.db(seat{schema, true})
	defer db.Close()
	key := fnv.New32a()
	key.Write([]byte("freshet tables " + schema))
	one, err := lock.NewPostgresSessionLocker(lock.WithLockID(int64(key.Sum32())), lock.WithLockTimeout(1, 60))
	if err != nil {
		return wrap(err)
	}
	p, err := provider(goose.DialectPostgres, db, groupMigrations, dir, goose.WithSessionLocker(one))
	if err != nil {
		return wrap(err)
	}
	err = bringUp(ctx, p)
	if n := (*Newer)(nil); errors.As(err, &n) {
		n.Group = true
		if shop, ok := strings.CutPrefix(schema, schemaOf("")); ok {
			n.Shops = []string{shop}
		}
	}
	return wrap(err)
}

// Shops gives the names of the group's shops, in order.
func (g *Group) Shops(ctx context.Context) ([]string, error) {
	var names []string
	err := g.own.SelectContext(ctx, &names, "SELECT name FROM shops ORDER BY name")
	return names, wrap(err)
}

// NoShop is the error of a shop that a group hasn't got.
type NoShop struct {
	Name string // empty: none was named
	Have []string
}

func (e *NoShop) Error() string {
	return fmt.Sprintf("store: need a shop of the group, have %q; there are %q", e.Name, e.Have)
}

// Add makes a shop, if the group has none of that name, and opens it. There is
// nothing in it yet, unless its schema is there already: one that was brought
// back from a dump, say.
func (g *Group) Add(ctx context.Context, name string) (*Store, error) {
	if err := checkShop(name); err != nil {
		return nil, err
	}
	if err := g.prepare(ctx, schemaOf(name), shopMigrations); err != nil {
		return nil, err
	}
	if _, err := g.own.ExecContext(ctx, "INSERT INTO shops(name) VALUES(?) ON CONFLICT(name) DO NOTHING", name); err != nil {
		return nil, wrap(err)
	}
	return g.shop(name), nil
}

// Gone is the error of a shop of the group's whose records aren't in the database:
// its schema was taken away, or not brought back yet. No empty one is made instead,
// which would look like the shop, and be in the way of the one that is brought back.
type Gone struct{ Shop string }

func (e *Gone) Error() string {
	return fmt.Sprintf("the records of %[1]s aren't in the database: bring back its schema, shop_%[1]s, with pg_restore, or take %[1]s off the list with 'freshet group remove'", e.Shop)
}

// Open opens a shop. It is a *NoShop if the group has none of that name, and a
// *Gone if the database hasn't got its records. Closed, it leaves the group's
// connections as they are.
func (g *Group) Open(ctx context.Context, name string) (*Store, error) {
	var there bool
	if err := g.own.GetContext(ctx, &there, "SELECT count(*) > 0 FROM shops WHERE name = ?", name); err != nil {
		return nil, wrap(err)
	}
	if !there {
		have, err := g.Shops(ctx)
		return nil, errors.Join(err, &NoShop{name, have})
	}
	if there, err := g.Holds(ctx, name); err != nil {
		return nil, err
	} else if !there {
		return nil, &Gone{name}
	}
	if err := g.prepare(ctx, schemaOf(name), shopMigrations); err != nil {
		return nil, err
	}
	return g.shop(name), nil
}

// Holds tells whether the database has a shop's schema, be it a shop of the
// group's or not.
func (g *Group) Holds(ctx context.Context, name string) (there bool, err error) {
	if err := checkShop(name); err != nil {
		return false, err
	}
	err = g.own.GetContext(ctx, &there, "SELECT to_regnamespace(?) IS NOT NULL", schemaOf(name))
	return there, wrap(err)
}

// Remove takes a shop away, with all its records. It is a *NoShop if the group
// has none of that name.
func (g *Group) Remove(ctx context.Context, name string) error {
	return inTx(ctx, g.own, func(tx *sqlx.Tx) error {
		r, err := tx.ExecContext(ctx, "DELETE FROM shops WHERE name = ?", name)
		if err != nil {
			return wrap(err)
		}
		if n, err := r.RowsAffected(); err != nil || n == 0 {
			have, failed := g.Shops(ctx)
			return errors.Join(err, failed, &NoShop{name, have})
		}
		_, err = tx.ExecContext(ctx, "DROP SCHEMA IF EXISTS "+pgx.Identifier{schemaOf(name)}.Sanitize()+" CASCADE")
		return wrap(err)
	})
}

func schemaOf(shop string) string { return "shop_" + shop }

func (g *Group) shop(name string) *Store {
	u := *g.address
	q := u.Query()
	q.Set("shop", name)
	u.RawQuery = q.Encode()
	s := &Store{group: g, path: u.String(), free: func(string) (uint64, bool) { return 0, false },
		w: g.db(seat{schemaOf(name), true}), r: g.db(seat{schemaOf(name), false})}
	s.w.SetMaxOpenConns(1) // who writes waits here and not on a connection that others could use
	s.r.SetMaxOpenConns(4)
	return s
}

// Pool gives the connections, for what keeps its own tables beside the shops'.
// They see the schema freshet.
func (g *Group) Pool() *pgxpool.Pool { return g.pool }

// Close ends the connections. Shops that are open can't be used any more.
func (g *Group) Close() error {
	err := g.own.Close()
	g.pool.Close()
	return wrap(err)
}

// openShop opens the shop that an address names. The store closes the group
// with it.
func openShop(ctx context.Context, address string, open func(*Group, context.Context, string) (*Store, error)) (*Store, error) {
	_, name, err := parseAddress(address)
	if err != nil {
		return nil, err
	}
	g, err := OpenGroup(ctx, address)
	if err != nil {
		return nil, err
	}
	s, err := open(g, ctx, name)
	if err != nil {
		return nil, errors.Join(err, g.Close())
	}
	s.alone = true
	return s, nil
}
