CREATE TABLE scores (
    score INTEGER PRIMARY KEY AUTOINCREMENT,
    path TEXT NOT NULL UNIQUE,
    file TEXT NOT NULL,
    content TEXT NOT NULL,
    corrections TEXT NOT NULL,
    analysis TEXT NOT NULL,
    format TEXT NOT NULL,
    bytes INTEGER NOT NULL,
    title TEXT NOT NULL,
    composers TEXT NOT NULL,
    work TEXT NOT NULL,
    work_number TEXT NOT NULL,
    movement TEXT NOT NULL,
    movement_number TEXT NOT NULL,
    version TEXT NOT NULL,
    line_up TEXT NOT NULL,
    part_names TEXT NOT NULL,
    bars INTEGER NOT NULL,
    parts INTEGER NOT NULL,
    notes INTEGER NOT NULL,
    seconds REAL NOT NULL
);
CREATE INDEX scores_by_content ON scores (content);
CREATE TABLE record (
    id INTEGER PRIMARY KEY,
    score INTEGER NOT NULL REFERENCES scores (score) ON DELETE CASCADE,
    name TEXT NOT NULL,
    rows INTEGER NOT NULL,
    data BLOB NOT NULL,
    UNIQUE (score, name)
);
CREATE TABLE corrections_files (
    score INTEGER PRIMARY KEY REFERENCES scores (score) ON DELETE CASCADE,
    data BLOB NOT NULL
);
CREATE TABLE tags (
    score INTEGER NOT NULL REFERENCES scores (score) ON DELETE CASCADE,
    tag TEXT NOT NULL,
    PRIMARY KEY (score, tag)
) WITHOUT ROWID;
CREATE TABLE remarks (
    remark INTEGER PRIMARY KEY AUTOINCREMENT,
    score INTEGER NOT NULL REFERENCES scores (score) ON DELETE CASCADE,
    printed_bars TEXT NOT NULL,
    remark_text TEXT NOT NULL, first_bar INTEGER, last_bar INTEGER, part TEXT NOT NULL DEFAULT ''
);
CREATE TABLE bookmarks (
    bookmark INTEGER PRIMARY KEY AUTOINCREMENT,
    score INTEGER NOT NULL REFERENCES scores (score) ON DELETE CASCADE,
    name TEXT NOT NULL,
    view TEXT NOT NULL
);
CREATE TABLE questions (
    name TEXT PRIMARY KEY,
    kind TEXT NOT NULL CHECK (kind IN ('words', 'sql')),
    question TEXT NOT NULL
) WITHOUT ROWID;
CREATE VIRTUAL TABLE search USING fts5 (
    title, composers, parts, remarks, tags, tokenize = 'unicode61 remove_diacritics 2'
);
INSERT INTO scores VALUES (7, '/away/harbour.musicxml', 'harbour.musicxml', 'c0ffee', '', '0', 'MusicXML', 100, 'Harbour',
    'A. Boatman', '', '', 'Harbour', '', 'first', '2 flutes', 'Flute 1.2', 1, 1, 0, 2.0);
INSERT INTO tags VALUES (7, 'sea');
INSERT INTO remarks VALUES (3, 7, '5-8', 'the boat is launched', 4, 7, 'Flute 1.2');
INSERT INTO bookmarks VALUES (2, 7, 'the launch', 'seen=0-4');
INSERT INTO questions VALUES ('soft', 'words', 'piano or softer');
INSERT INTO search (rowid, title, composers, parts, remarks, tags)
    VALUES (7, 'Harbour', 'A. Boatman', 'Flute 1.2', 'the boat is launched', 'sea');
