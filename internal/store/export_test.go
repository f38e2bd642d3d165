package store

import "database/sql"

// OpenSteps is Open with other migrations.
var OpenSteps = open

// Steps are the migrations of the program.
var Steps = migrations

// SQL returns the database under db, for damage that only a test would do.
func SQL(db *DB) *sql.DB { return db.sql }

// Place returns the path of the file of an attachment.
func Place(db *DB, sha string) string { return db.place(sha) }
