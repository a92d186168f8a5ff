/* Bytes of a register in CSV to lines, lines to libcsv, cells back to rows. */
#include "regcsv_priv.h"

#include <errno.h>
#include <string.h>
#include <sys/stat.h>

static void on_cell(void *data, size_t n, void *ctx)
{
    struct regcsv *r = ctx;
    unsigned i = r->n_fields++;

    if (i >= REGCSV_FIELDS)
        return;
    /* The row's length is bounded before it is fed, so that its cells always fit. */
    memcpy(r->text + r->text_used, data, n + 1);
    r->raw[i] = (struct regcsv_cell){r->text + r->text_used, n};
    r->text_used += n + 1;
}

static void on_row(int end, void *ctx)
{
    struct regcsv *r = ctx;

    (void) end;
    if (!r->stop && !r->err) {
        if (!r->have_header)
            lm_regcsv_header(r);
        else if (r->n_fields != r->n_cols)
            lm_regcsv_bad(r, LM_EINPUT, r->row_line,
                (r->n_fields < r->n_cols ? r->n_fields : r->n_cols) + 1,
                "give every row the same columns; put a cell that holds the separator in quotes",
                "%u cells, but the header line names %u", r->n_fields, r->n_cols);
        else
            r->kind->row(r);
    }
    r->row_open = false;
    r->n_fields = 0;
    r->text_used = 0;
}

/* Also after an error: libcsv would hand over the broken row as if it were whole. */
static void start_csv(struct regcsv *r)
{
    if (r->csv_live)
        csv_free(&r->csv);
    r->csv_live = csv_init(&r->csv, CSV_STRICT | CSV_STRICT_FINI | CSV_APPEND_NULL) == 0;
    if (!r->csv_live)
        r->err = LM_ENOMEM;
    csv_set_delim(&r->csv, (unsigned char) r->separator);
    csv_set_blk_size(&r->csv, 4096);
    r->row_open = false;
    r->n_fields = 0;
    r->text_used = 0;
}

/* The separator that stands most often in the header line, outside of quotes. */
static char find_separator(const char *s, size_t n)
{
    static const char seps[] = ",;\t";
    unsigned count[3] = {0};
    bool quoted = false;
    int best = 0;

    for (size_t i = 0; i < n; i++) {
        const char *hit = s[i] ? strchr(seps, s[i]) : NULL;
        if (s[i] == '"')
            quoted = !quoted;
        else if (hit && !quoted)
            count[hit - seps]++;
    }
    for (int k = 1; k < 3; k++)
        if (count[k] > count[best])
            best = k;
    return seps[best];
}

static bool is_blank(const struct regcsv *r, const char *s, size_t n)
{
    for (size_t i = 0; i < n; i++)
        if (s[i] != ' ' && s[i] != '\n' && s[i] != '\r' && (s[i] != '\t' || r->separator == '\t'))
            return false;
    return true;
}

/* Whether any byte is no printable ASCII: most lines are spared the slow checks by this. */
static bool is_special(const char *s, size_t n)
{
    const uint64_t high = 0x8080808080808080u;
    uint64_t found = 0, w;

    for (; n >= 8; s += 8, n -= 8) {
        memcpy(&w, s, 8);
        found |= w | ((w & ~high) + 0x0101010101010101u) | ~((w | high) - 0x2020202020202020u);
    }
    for (; n; s++, n--)
        if ((uint8_t) *s < 0x20 || (uint8_t) *s >= 0x7f)
            return true;
    return (found & high) != 0;
}

static void bad_quote(struct regcsv *r)
{
    static const char mend[] = "put the whole cell in quotes and double each quote inside it";
    unsigned field = r->n_fields + 1;

    if (csv_error(&r->csv) != CSV_EPARSE) {
        r->err = LM_ENOMEM;
        return;
    }
    if (r->row_line == r->line) {
        lm_regcsv_bad(r, LM_EINPUT, r->line, field, mend,
            "a quote stands in a cell that is not wholly in quotes");
        start_csv(r);
        return;
    }
    lm_regcsv_bad(r, LM_EINPUT, r->row_line, field, mend,
        "a quote opened in this row was not closed before line %ld; the rest of the file was not "
        "read",
        r->line);
    r->stop = true;
}

static void too_long(struct regcsv *r)
{
    lm_regcsv_bad(r, LM_EINPUT, r->row_line, r->row_open ? r->n_fields + 1 : 0,
        "close the quote, or check that this is a CSV file",
        r->row_open ? "a quote opened in this row is not closed within %u bytes; the rest of the "
                      "file was not read"
                    : "the line is longer than %u bytes; the rest of the file was not read",
        REGCSV_ROW_MAX);
    r->stop = true;
}

/* A lone CR would end a row for libcsv without our counting a line. */
static bool lone_cr(struct regcsv *r, const char *s, size_t n)
{
    const char *cr = memchr(s, '\r', n);

    if (!cr || cr + 1 == s + n || (cr + 2 == s + n && cr[1] == '\n'))
        return false;
    lm_regcsv_bad(r, LM_EINPUT, r->line, 0, "save the file with LF or CRLF line ends",
        "a carriage return stands inside the line");
    r->stop = r->row_open || !r->have_header;
    return true;
}

/* One physical line with its line end. */
static void feed(struct regcsv *r, const char *s, size_t n)
{
    size_t body = n;

    r->line++;
    if (!r->row_open) {
        if (is_blank(r, s, n))
            return;
        r->row_line = r->line;
        r->row_bytes = 0;
        r->row_special = false;
    }
    r->row_bytes += n;
    if (r->row_bytes > REGCSV_ROW_MAX) {
        too_long(r);
        return;
    }
    while (body && (s[body - 1] == '\n' || s[body - 1] == '\r'))
        body--;
    if (r->row_open || is_special(s, body))
        r->row_special = true;
    if (lone_cr(r, s, n))
        return;
    r->row_open = true;
    if (csv_parse(&r->csv, s, n, on_cell, on_row, r) != n)
        bad_quote(r);
}

static bool starts(const char *s, size_t n, const char *magic, size_t len)
{
    return n >= len && !memcmp(s, magic, len);
}

/* Looks at the first bytes of the file. @return How many to pass over. */
static size_t look_at_start(struct regcsv *r, const char *s, size_t n)
{
    if (starts(s, n, "PK\003\004", 4) || starts(s, n, "\xD0\xCF\x11\xE0", 4))
        lm_regcsv_bad(r, LM_EINPUT, 1, 0, "save it as CSV in UTF-8 from the spreadsheet program",
            "this is a spreadsheet file, not CSV");
    else if (starts(s, n, "\xFF\xFE", 2) || starts(s, n, "\xFE\xFF", 2))
        lm_regcsv_bad(
            r, LM_EINPUT, 1, 0, "save it as CSV in UTF-8", "this file is UTF-16, not UTF-8");
    r->stop = r->problems > 0;
    r->bom = starts(s, n, REGCSV_BOM, 3);
    return r->bom ? 3 : 0;
}

static void first_line(struct regcsv *r, const char *s, size_t n)
{
    if (r->csv_live || is_blank(r, s, n))
        return;
    r->separator = find_separator(s, n);
    start_csv(r);
}

/* Feed whole lines out of a buffer. @return The bytes used. */
static size_t feed_lines(struct regcsv *r, const char *s, size_t n, bool last)
{
    size_t done = 0;

    while (done < n && !r->stop && !r->err) {
        const char *end = memchr(s + done, '\n', n - done);
        size_t len = end ? (size_t) (end - (s + done)) + 1 : n - done;

        if (!end && !last)
            break;
        if (!r->have_header)
            first_line(r, s + done, len);
        if (!r->err)
            feed(r, s + done, len);
        done += len;
    }
    return done;
}

/* The last row when it has no line end, or a quote that nothing closes. */
static void finish_csv(struct regcsv *r)
{
    unsigned field = r->n_fields + 1;

    if (r->stop || r->err)
        return;
    if (r->csv_live && csv_fini(&r->csv, on_cell, on_row, r) != 0)
        lm_regcsv_bad(r, LM_EINPUT, r->row_line, field, "close the quote",
            "a quote opened in this row is not closed before the end of the file");
    else if (!r->have_header)
        lm_regcsv_bad(r, LM_EINPUT, 1, 0, r->kind->example, "the file is empty");
}

static long long size_of(FILE *in)
{
    struct stat st;

    return fileno(in) >= 0 && !fstat(fileno(in), &st) && S_ISREG(st.st_mode)
               ? (long long) st.st_size
               : 0;
}

void lm_regcsv_lines(struct regcsv *r, FILE *in, char *buf)
{
    long long done = 0, total = size_of(in);
    size_t have = 0, used;
    bool begun = false;

    while (!r->stop && !r->err) {
        size_t got = fread(buf + have, 1, REGCSV_PIECE - have, in);
        bool last = got < REGCSV_PIECE - have;

        if (ferror(in)) {
            lm_regcsv_bad(r, LM_EIO, 0, 0, "try again, or copy the file first",
                "could not be read: %s", strerror(errno));
            r->err = LM_EIO;
            break;
        }
        have += got;
        done += (long long) got;
        used = begun ? 0 : look_at_start(r, buf, have);
        begun = true;
        if (!r->stop)
            used += feed_lines(r, buf + used, have - used, last);
        if (r->hooks->progress)
            r->hooks->progress(done, total, r->hooks->ctx);
        if (last)
            break;
        if (used == 0) { /* not one line end in the whole buffer */
            if (!r->row_open)
                r->row_line = r->line + 1;
            too_long(r);
        }
        memmove(buf, buf + used, have - used);
        have -= used;
    }
    finish_csv(r);
}
