-- One row for each entry of a logbook. Rows are added and never altered.
create table entry (
	id         text primary key,      -- ULID
	subject    text not null references subject (id) deferrable initially deferred,
	at_us      integer not null,      -- when it happened, µs of UTC since 1970
	written_us integer not null,      -- when it was written, µs of UTC since 1970
	by_whom    text not null,
	kind       text not null,
	fact       text not null,         -- JSON
	digest     integer not null       -- of the other columns, so that an alteration shows
) strict, without rowid;

create index entry_of_subject on entry (subject, at_us, id);

-- One row for each logbook, kept in step with its entries.
create table subject (
	id      text primary key references entry (id) deferrable initially deferred,
	kind    text not null,            -- of the entry that begins the logbook
	entries integer not null,
	version integer not null          -- sum of the digests of its entries
) strict, without rowid;

-- One row for each attached file; its bytes are in the folder.
create table attachment (
	sha256   text primary key,
	size     integer not null,        -- bytes
	type     text not null,           -- media type
	name     text not null,
	added_us integer not null
) strict, without rowid;

-- Computed figures, which may be dropped at any time.
create table figures (
	subject text not null,
	name    text not null,
	version integer not null,
	body    blob not null,
	primary key (subject, name)
) strict, without rowid;
