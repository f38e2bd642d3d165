-- What is known of each sound input: its latest calibrations. A column that
-- was never measured is null.
create table microphone (
	key           text primary key,  -- chosen by the browser, or the name given on the command line
	name          text not null,
	seen_at_us    integer not null,  -- when it was last used, µs of UTC since 1970
	latency_s     real,              -- constant delay of the sound, s, + late
	latency_sd_s  real,
	latency_how   text,
	latency_at_us integer,
	ppm           real,              -- sampling frequency over the nominal, less one, in parts in a million
	ppm_sd        real,
	ppm_source    text,
	ppm_at_us     integer
) strict, without rowid;

-- Every calibration there was. Rows are added and never altered, so that what
-- was taken off a reading years ago can be defended.
create table microphone_measure (
	key   text not null references microphone (key),
	what  text not null,             -- latency, in s, or clock, in parts in a million
	at_us integer not null,          -- when it was measured, µs of UTC since 1970
	value real not null,
	sd    real not null,             -- one standard deviation
	how   text not null,             -- in words
	primary key (key, what, at_us)
) strict, without rowid;
