-- Which migrations this database has had. Run at every opening.
create table if not exists migration (
	number     integer primary key,
	name       text not null,
	applied_us integer not null
) strict;
