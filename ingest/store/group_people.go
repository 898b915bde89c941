package store

import (
	"context"
	"crypto/rand"
	"database/sql"
	"errors"
	"time"
)

// Secret gives the group's secret of a name, made at the first time: the same
// for every process.
func (g *Group) Secret(ctx context.Context, name string) (value []byte, err error) {
	fresh := make([]byte, 32)
	rand.Read(fresh)
	if _, err := g.own.ExecContext(ctx, "INSERT INTO secrets(name, value) VALUES(?, ?) ON CONFLICT(name) DO NOTHING", name, fresh); err != nil {
		return nil, wrap(err)
	}
	err = g.own.GetContext(ctx, &value, "SELECT value FROM secrets WHERE name = ?", name)
	return value, wrap(err)
}

// Front is a store of the group itself: of its sessions and guesses at
// passphrases, and nothing else.
func (g *Group) Front() *Store { return &Store{group: g, w: g.own, r: g.own} }

// SetUser keeps a user's passphrase, by its hash.
func (g *Group) SetUser(ctx context.Context, name, hash string, now time.Time) error {
	_, err := g.own.ExecContext(ctx, "INSERT INTO users(name, hash, set_at) VALUES(?, ?, ?) ON CONFLICT(name) DO UPDATE SET hash = excluded.hash, set_at = excluded.set_at",
		name, hash, now.UTC().Format(time.RFC3339Nano))
	return wrap(err)
}

// User gives the hash kept for a user and when it was set, both empty if there
// is none of that name.
func (g *Group) User(ctx context.Context, name string) (hash, set string, err error) {
	err = g.own.QueryRowContext(ctx, "SELECT hash, set_at FROM users WHERE name = ?", name).Scan(&hash, &set)
	if errors.Is(err, sql.ErrNoRows) {
		return "", "", nil
	}
	return hash, set, wrap(err)
}

// RemoveUser forgets a user, and tells whether there was one of that name.
func (g *Group) RemoveUser(ctx context.Context, name string) (had bool, err error) {
	r, err := g.own.ExecContext(ctx, "DELETE FROM users WHERE name = ?", name)
	if err != nil {
		return false, wrap(err)
	}
	n, err := r.RowsAffected()
	return n > 0, wrap(err)
}

// SetMember lets a user into a shop as counter or owner; an empty role shuts them
// out.
func (g *Group) SetMember(ctx context.Context, user, shop, role string) error {
	query, args := "INSERT INTO members(member, shop, role) VALUES(?, ?, ?) ON CONFLICT(member, shop) DO UPDATE SET role = excluded.role", []any{user, shop, role}
	if role == "" {
		query, args = "DELETE FROM members WHERE member = ? AND shop = ?", args[:2]
	}
	_, err := g.own.ExecContext(ctx, query, args...)
	return wrap(err)
}

// Role gives what a user is in a shop, empty if nothing.
func (g *Group) Role(ctx context.Context, user, shop string) (role string, err error) {
	err = g.own.GetContext(ctx, &role, "SELECT role FROM members WHERE member = ? AND shop = ?", user, shop)
	if errors.Is(err, sql.ErrNoRows) {
		return "", nil
	}
	return role, wrap(err)
}

// Member is a user's place in a shop.
type Member struct{ User, Shop, Role string }

// Members gives all of them, in order; users without a shop have one that is
// empty.
func (g *Group) Members(ctx context.Context) ([]Member, error) {
	var out []Member
	rows, err := g.own.QueryContext(ctx, "SELECT name, coalesce(shop, ''), coalesce(role, '') FROM users LEFT JOIN members ON member = name ORDER BY name, shop")
	if err != nil {
		return nil, wrap(err)
	}
	defer rows.Close()
	for rows.Next() {
		var m Member
		if err := rows.Scan(&m.User, &m.Shop, &m.Role); err != nil {
			return nil, wrap(err)
		}
		out = append(out, m)
	}
	return out, wrap(rows.Err())
}
