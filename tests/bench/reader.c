/*
 * The least a program can do to take in a register: read each column of the animals and of their
 * devices once, with SQLite. usage: reader DATABASE; prints how many bytes that were.
 */
#include <sqlite3.h>
#include <stdio.h>

static long read_all(sqlite3 *db, const char *sql)
{
    sqlite3_stmt *st;
    long bytes = 0;
    if (sqlite3_prepare_v2(db, sql, -1, &st, NULL) != SQLITE_OK)
        return -1;
    while (sqlite3_step(st) == SQLITE_ROW)
        for (int i = 0, n = sqlite3_column_count(st); i < n; i++)
            if (sqlite3_column_text(st, i) != NULL)
                bytes += sqlite3_column_bytes(st, i);
    sqlite3_finalize(st);
    return bytes;
}

int main(int argc, char **argv)
{
    sqlite3 *db;
    if (argc != 2 || sqlite3_open_v2(argv[1], &db, SQLITE_OPEN_READONLY, NULL) != SQLITE_OK)
        return 1;
    long animals = read_all(db, "SELECT * FROM animal"),
         devices = read_all(db, "SELECT * FROM device");
    printf("%ld\n", animals + devices);
    sqlite3_close(db);
    return animals < 0 || devices < 0;
}
