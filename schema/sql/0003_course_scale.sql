-- How the sheets of a course are drawn above 2000 cm-1: 'even', or 'half' the scale, as many printed
-- tables are.
ALTER TABLE course ADD COLUMN x_scale TEXT NOT NULL DEFAULT 'even';
