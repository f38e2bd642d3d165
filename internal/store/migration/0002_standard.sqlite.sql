-- How well UTC was known, from time to time; old rows are dropped.
create table standard (
	at_us    integer primary key,  -- µs of UTC since 1970
	offset_s real not null,        -- UTC minus the clock of the computer, s
	bound_s  real,                 -- UTC was known within this, s; null: no bound was known
	source   text not null         -- where UTC came from, in words
) strict;
