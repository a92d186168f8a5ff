/* What the files of ICAR's animal data exchange share. */
#ifndef LUGMARK_ICAR_PRIV_H
#define LUGMARK_ICAR_PRIV_H

#include "lugmark/icar.h"
#include "store/store_priv.h"

#include <jansson.h>

#define ICAR_CODE_SCHEME "std.iso.11785"
#define ICAR_NOTES_MAX 200u  /* different notes of one file; more are one */
#define ICAR_SCHEME_MAX 255u /* bytes */

/* --- icar_words.c: tables between their words and ours --- */
const char *lm_icar_specie(const char *species); /* NULL: none of theirs */
const char *lm_icar_species(const char *specie); /* the register's word, or NULL */
const char *lm_icar_gender(enum lm_sex sex, bool castrated);
bool lm_icar_sex(const char *gender, enum lm_sex *sex, bool *castrated);
const char *lm_icar_status(enum lm_status status);

/* --- icar_notes.c: counts by text, told at the end --- */
struct icar_notes {
    json_t *counts; /* text: number, negative when something was left out whole */
};
enum lm_err lm_icar_notes_begin(struct icar_notes *n);
void lm_icar_note(struct icar_notes *n, bool left_out, const char *fmt, ...)
    __attribute__((format(printf, 3, 4)));
void lm_icar_notes_tell(struct icar_notes *n, lm_icar_note_fn *fn, void *ctx);
void lm_icar_notes_end(struct icar_notes *n);

/* --- icar_animal.c: records to resources. All give new references, NULL when out of memory --- */
struct icar_writer {
    const struct lm_icar_write *how;
    struct lm_store *store;
    FILE *out;
    struct lm_store_session session; /* of LM_ICAR_SESSION */
    unsigned long written;
    struct icar_notes notes;
    sqlite3_stmt *changed;   /* when an animal last changed */
    struct lm_record *other; /* a parent; 16 kB, so not on the stack again and again */
};
const char *lm_icar_source(const struct icar_writer *w);
json_t *lm_icar_id(const char *scheme, const char *id);
json_t *lm_icar_own_id(const struct icar_writer *w, const char *kind, const char *id);
/* What an animal is best known by. @p skip: devices not looked at are none. */
json_t *lm_icar_identifier(const struct icar_writer *w, const struct lm_record *rec);
json_t *lm_icar_meta(const char *source, const char *source_id, int64_t modified_ms);
json_t *lm_icar_location(const struct icar_writer *w);
/* NULL without a note for an animal that cannot be written: *fits says which. */
json_t *lm_icar_animal(struct icar_writer *w, const struct lm_record *rec, bool *fits);
int64_t lm_icar_changed_ms(struct icar_writer *w, const char *key);
bool lm_icar_day(struct lm_date d, char out[LM_TIME_TEXT_SIZE]); /* false: no full date */

/* --- icar_write.c --- */
enum lm_err lm_icar_emit(struct icar_writer *w, json_t *resource); /* takes the reference */

/* --- icar_session.c --- */
enum lm_err lm_icar_write_session(struct icar_writer *w);

/* --- icar_parse.c: JSON to plain values, every problem with a pointer --- */
#define ICAR_PATH_MAX 200u
#define ICAR_PROBLEMS_MAX 1000u
struct icar_reader {
    const struct lm_icar_read *how;
    struct lm_store *store;
    struct lm_icar_taken *taken;
    struct icar_notes notes;
    unsigned long problems;
    bool silent;   /* looked at before: what was to be told is told */
    json_t *codes; /* mark of an animal of the file: its key */
    json_t *keys;  /* key in the file: pointer to the animal that has it */
    json_t *at;    /* pointer to an animal: its key, as the first look found it */
    sqlite3_stmt *by_code, *by_number;
    struct lm_record *rec; /* 16 kB, so not on the stack */
};
enum icar_mark_kind { ICAR_CODE, ICAR_NUMBER, ICAR_TATTOO, ICAR_CHIP, ICAR_KEY };
struct icar_mark { /* one identifier, taken apart */
    struct lm_eid eid;
    char text[LM_VISUAL_MAX + 1];
    enum icar_mark_kind kind;
};
struct icar_marks { /* the first is the animal's identifier */
    struct icar_mark items[LM_DEVICES_MAX];
    unsigned n;
};
void lm_icar_bad(struct icar_reader *r, enum lm_err err, const char *path, const char *mend,
    const char *fmt, ...) __attribute__((format(printf, 5, 6)));
/* A member as text; NULL when it is not there, or after telling that it is no text. */
const char *lm_icar_text(
    struct icar_reader *r, const json_t *obj, const char *path, const char *key);
/* false after telling what is wrong. */
bool lm_icar_take_id(struct icar_reader *r, const json_t *id, const char *source, const char *path,
    struct icar_mark *out);
bool lm_icar_take_day(struct icar_reader *r, const json_t *obj, const char *path, const char *key,
    struct lm_date *day);
bool lm_icar_take_marks(struct icar_reader *r, const json_t *animal, const char *source,
    const char *path, struct icar_marks *out);
/* Put what an animal resource says into a record; its devices, parents and key are not touched. */
void lm_icar_take_animal(
    struct icar_reader *r, const json_t *animal, const char *path, struct lm_record *rec, bool own);

/* --- icar_match.c: which animal a resource means --- */
/* Key of the animal of a mark, in the file or the register. @return LM_OK, LM_ENOTFOUND,
   LM_EAMBIGUOUS, or what reading gave. */
enum lm_err lm_icar_owner(
    struct icar_reader *r, const struct icar_mark *mark, char key[LM_NAME_MAX + 1]);
/* First look: give an animal of the file its key. */
enum lm_err lm_icar_learn(
    struct icar_reader *r, const json_t *animal, const char *source, const char *path);
/* Key of the animal that an event names; tells when there is none or more than one. */
enum lm_err lm_icar_named(struct icar_reader *r, const json_t *id, const char *source,
    const char *path, char key[LM_NAME_MAX + 1]);

/* --- icar_apply.c --- */
/* Put an animal into the register. @p status: NULL, or what an event makes of it, at @p when. */
struct icar_change {
    const enum lm_status *status;
    struct lm_date when, born;
    const char *why;
};
enum lm_err lm_icar_apply(struct icar_reader *r, const json_t *animal, const char *source,
    const char *path, const struct icar_change *change);
enum lm_err lm_icar_change(
    struct icar_reader *r, const char *key, const char *path, const struct icar_change *change);

/* --- icar_event.c --- */
enum lm_err lm_icar_take_event(
    struct icar_reader *r, const json_t *ev, const char *type, const char *path);

/* --- icar_set.c --- */
enum lm_err lm_icar_take_set(struct icar_reader *r, const json_t *set, const char *path);

#endif
