/** @file regcsv_priv.h
 * Private to the reader of the register as CSV.
 *
 * bytes -> lines -> libcsv -> cells (regcsv_read.c) -> checks (regcsv_row.c, regcsv_cell.c) ->
 * stage (regcsv_stage.c) -> records (regcsv_deliver.c); regcsv.c runs them. The stage holds the
 * whole file compactly, because nothing is delivered while any row may be bad and rows of one
 * animal may stand far apart.
 */
#ifndef LM_REGCSV_PRIV_H
#define LM_REGCSV_PRIV_H

#include "lugmark/regcsv.h"

#include <csv.h>
#include <stdint.h>

#define REGCSV_FIELD_MAX 4096u /**< longest cell taken, bytes */
#define REGCSV_ROW_MAX 131072u /**< longest row and longest line taken, bytes */
#define REGCSV_PIECE 262144u   /**< read at once; twice the longest line */
#define REGCSV_FIELDS 64u      /**< more cells than any good header can name */
#define REGCSV_BOM "\xEF\xBB\xBF"
#define REGCSV_PROBLEMS_MAX 1000u /**< problems told one by one */

/** Columns, in the order in which they are written. */
enum regcsv_col {
    COL_ANIMAL,
    COL_SPECIES,
    COL_BREED,
    COL_SEX,
    COL_BORN,
    COL_DAM,
    COL_SIRE,
    COL_MOB,
    COL_STATUS,
    COL_FORM,
    COL_PLACE,
    COL_COLOUR,
    COL_OFFICIAL,
    COL_EID,
    COL_VISUAL,
    COL_APPLIED,
    COL_REMOVED,
    COL_CASTRATED,
    COL_STATUS_DATE,
    COL_WHY,
    COL_UID,
    COL_EID_TEXT,
    COL_REPLACES,
    COL_COUNT, /* the columns of a register end here; those of a supply list alone follow */
    COL_STRIP = COL_COUNT,
    COL_POSITION,
    COL_RECEIVED,
    COL_ALL,
    COL_IGNORED = COL_ALL /**< only as a column of the file */
};

struct regcsv;

/** What a file of this kind holds; the reading of lines and cells is the same for all. */
struct regcsv_kind {
    uint32_t columns;                 /**< bit set of enum regcsv_col that may be there */
    const char *example;              /**< a header line, for the message when there is none */
    void (*header)(struct regcsv *r); /**< all names are good: are those there that must be? */
    void (*row)(struct regcsv *r);    /**< take the row just read */
};

/** A string of the stage: offset of its length byte; 0 is the empty string. */
typedef uint32_t regcsv_str;

/** What of an animal was said so far; the rest may still come from a later row. */
enum { GIVEN_SEX = 1, GIVEN_CASTRATED = 2, GIVEN_STATUS = 4, IS_CASTRATED = 8 };

/** One animal, 48 bytes. */
struct staged_animal {
    regcsv_str key; /**< 0 until the end for an animal without a name of its own */
    regcsv_str species, breed, dam, sire, mob;
    struct lm_date born, status_date;
    uint32_t line;        /**< where it first stood */
    uint32_t first, last; /**< its devices: index + 1, 0 for none */
    uint8_t sex, status, n_devices, given;
};

enum { DEVICE_OFFICIAL = 1, DEVICE_GONE = 2 };

/** One device, 32 bytes. */
struct staged_device {
    uint64_t bits;
    regcsv_str visual, colour;
    uint32_t rare; /**< index + 1 into what few devices have */
    uint32_t next; /**< next device of the animal: index + 1 */
    struct lm_date applied;
    uint8_t known, form, place, flags;
};

struct staged_rare {
    regcsv_str uid, why;
    struct lm_date removed;
    uint8_t replaces;
};

/** A code that ends in 000, kept to find codes that a spreadsheet rounded. */
struct staged_round {
    uint64_t key;
    uint32_t animal, line;
};

/** Open addressing; `item` 0 is a free place. */
struct regcsv_table {
    struct regcsv_slot {
        uint32_t hash, item;
    } * slots;
    uint32_t size, used; /**< size is a power of two, or 0 */
};

/** A growing array. */
struct regcsv_list {
    void *items;
    uint32_t n, size;
};

struct regcsv_stage {
    char *arena; /**< each string: length byte, bytes, NUL */
    size_t arena_used, arena_size;
    struct regcsv_table words;  /**< item: regcsv_str */
    struct regcsv_table names;  /**< item: animal index + 1 */
    struct regcsv_list animals; /**< struct staged_animal */
    struct regcsv_list devices; /**< struct staged_device */
    struct regcsv_list rares;   /**< struct staged_rare */
    struct regcsv_list rounds;  /**< struct staged_round */
};

struct regcsv_cell {
    const char *s; /**< NUL-terminated */
    size_t n;
};

/** Words that were parsed lately: a column says the same few words over and over. */
struct regcsv_memo {
    char text[24];
    uint8_t n, value;
    bool set;
};

struct regcsv {
    const struct regcsv_kind *kind;
    const struct lm_regcsv_hooks *hooks;
    const char *name;
    struct csv_parser csv;
    bool csv_live;
    char separator;
    long line;        /**< physical line being fed, 1-based */
    long row_line;    /**< where the row being read began */
    size_t row_bytes; /**< of the row being read */
    bool row_open;    /**< a row was begun and is not yet done */
    bool row_special; /**< the row holds bytes other than printable ASCII */
    bool have_header;
    bool bom;        /**< the file began with a byte order mark */
    bool sheet;      /**< written for a spreadsheet: formulas have a ' in front */
    bool stop;       /**< what follows could only be misread */
    enum lm_err err; /**< out of memory or a reading error */
    unsigned long problems;
    unsigned n_fields, n_cols;
    uint8_t col_of[REGCSV_FIELDS]; /**< enum regcsv_col by place in the file */
    uint8_t place[COL_ALL];        /**< 1-based place in the file, 0 when it is not there */
    struct regcsv_cell raw[REGCSV_FIELDS];
    struct regcsv_cell cell[COL_ALL];
    char their[COL_ALL][LM_VISUAL_MAX + 1]; /**< with a mapping: what the file calls a column */
    regcsv_str last[COL_COUNT];
    struct regcsv_memo memo[COL_COUNT][8];
    struct regcsv_stage stage;
    size_t text_used;
    char text[REGCSV_ROW_MAX + REGCSV_FIELDS + 1]; /**< cells of the row being read */
};

/** Name of a column as written in the header line. */
const char *lm_regcsv_col_name(enum regcsv_col col);

/** The register's column of this name, or COL_COUNT. */
enum regcsv_col lm_regcsv_col_named(const char *word);

/** The nearest of the register's columns to a wrong name, or NULL. */
const char *lm_regcsv_col_nearest(const char *word);

/** Whether a column is kept as text, and how many bytes it may have. */
bool lm_regcsv_is_text(enum regcsv_col col);
size_t lm_regcsv_limit(enum regcsv_col col);

/** Parse a word of sex (16 is added if castrated), status, form or place. */
bool lm_regcsv_parse_word(enum regcsv_col col, const char *s, uint8_t *value);

/** What can be written in a column of such words. */
const char *lm_regcsv_allowed(enum regcsv_col col);

/** Parse a yes or no. @return false for another word. */
bool lm_regcsv_parse_yes(enum regcsv_col col, const char *s, bool *yes);

/* --- regcsv_map.c: a mapping at work --- */

/** What a column of the file is: ours, COL_IGNORED; -1 when the mapping says nothing of it. */
int lm_regcsv_map_column(const struct regcsv *r, const char *word);

/** The header line was taken: tell of what the mapping names and the file has not. */
void lm_regcsv_map_header(struct regcsv *r);

/** Replace a word of the file by ours. */
void lm_regcsv_map_cell(struct regcsv *r, enum regcsv_col col);

/** The cells of a row were taken: put the constants in. */
void lm_regcsv_map_row(struct regcsv *r);

/** Parse a date in the order that the mapping declares; all of it when it declares none. */
enum lm_err lm_regcsv_map_date(
    const struct regcsv *r, const struct regcsv_cell *c, struct lm_date *out);

/** How to write a date, for messages. */
const char *lm_regcsv_map_date_mend(const struct regcsv *r);

/**
 * Read the whole file and take its rows one by one.
 * @param[in] buf  REGCSV_PIECE bytes.
 */
void lm_regcsv_lines(struct regcsv *r, FILE *in, char *buf);

/** Take the row just read as the header line. Sets `stop` when it is refused. */
void lm_regcsv_header(struct regcsv *r);

/** Take the row just read as a row of a register. */
void lm_regcsv_row(struct regcsv *r);

/** Put the row just read into `cell`, trimmed; what is too long or not clean is reported. */
void lm_regcsv_take_cells(struct regcsv *r);

/** Report what is still to be told, such as how many problems were left out. @return LM_OK when
 * every row was good. */
enum lm_err lm_regcsv_told(struct regcsv *r);

/**
 * Report a problem at @p line.
 * @param[in] field  1-based place of the cell, 0 for the whole row.
 */
void lm_regcsv_bad(struct regcsv *r, enum lm_err err, long line, unsigned field, const char *mend,
    const char *fmt, ...) __attribute__((format(printf, 6, 7)));

/** Report a problem with a cell of the row being read; the column's name stands before it. */
void lm_regcsv_bad_cell(struct regcsv *r, enum lm_err err, enum regcsv_col col, const char *mend,
    const char *fmt, ...) __attribute__((format(printf, 5, 6)));

/* Typed cells: each reports what is wrong and then gives the empty value. */
struct lm_date lm_regcsv_date(struct regcsv *r, enum regcsv_col col);
bool lm_regcsv_yes(struct regcsv *r, enum regcsv_col col);
struct lm_eid lm_regcsv_code(struct regcsv *r, bool *sure);
uint8_t lm_regcsv_word(struct regcsv *r, enum regcsv_col col); /**< sex: 16 is added if castrated */

/** Prepare a stage that is all zero. @return LM_OK or LM_ENOMEM. */
enum lm_err lm_stage_init(struct regcsv_stage *s);
void lm_stage_free(struct regcsv_stage *s);

/** Keep a text of 1 to 127 bytes. @return 0 when out of memory. */
regcsv_str lm_stage_text(struct regcsv_stage *s, const char *text, size_t n);

/** The same, once for equal texts. */
regcsv_str lm_stage_word(struct regcsv_stage *s, const char *text, size_t n);

/** The text kept at @p str, and its length. */
static inline const char *lm_stage_str(const struct regcsv_stage *s, regcsv_str str)
{
    return s->arena + str + 1;
}
static inline size_t lm_stage_len(const struct regcsv_stage *s, regcsv_str str)
{
    return (uint8_t) s->arena[str];
}

/** Animal of this name, added when new. @return Index, or UINT32_MAX when out of memory. */
uint32_t lm_stage_animal(struct regcsv_stage *s, const char *key, size_t n, uint32_t line);

/** Name an animal with a kept text. @return LM_OK, LM_EEXISTS when one is called so, LM_ENOMEM. */
enum lm_err lm_stage_claim(struct regcsv_stage *s, uint32_t animal, regcsv_str name);

/** A new animal without a name. @return Index, or UINT32_MAX when out of memory. */
uint32_t lm_stage_nameless(struct regcsv_stage *s, uint32_t line);

static inline struct staged_animal *lm_stage_at(const struct regcsv_stage *s, uint32_t animal)
{
    return (struct staged_animal *) s->animals.items + animal;
}

/** Add a device to an animal. @p rare may be NULL. @return LM_OK or LM_ENOMEM. */
enum lm_err lm_stage_device(struct regcsv_stage *s, uint32_t animal,
    const struct staged_device *device, const struct staged_rare *rare);

/** Room for one more item at the end of a list. NULL when out of memory. */
void *lm_stage_more(struct regcsv_list *list, size_t item_size);

/** Name the animals that have no name. @return LM_OK or LM_ENOMEM. */
enum lm_err lm_stage_name_all(struct regcsv_stage *s);

/** Give every animal to the hook. @return LM_OK or what the hook gave. */
enum lm_err lm_stage_deliver(struct regcsv_stage *s, const struct lm_regcsv_hooks *hooks);

#endif
