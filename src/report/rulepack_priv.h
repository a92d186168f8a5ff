/* Shared by the parts that load a rule pack. Every function that can refuse returns false after
 * filling the problem; the first refusal is the one that is told. */
#ifndef LUGMARK_REPORT_RULEPACK_PRIV_H
#define LUGMARK_REPORT_RULEPACK_PRIV_H

#include "lugmark/rulepack.h"
#include <jansson.h>

struct block;

struct lm_rulepack {
    struct lm_rule_pack rules;
    json_t *root;         /* all text of the rules is borrowed from it */
    struct block *blocks; /* memory of the tables */
};

/* A pack being loaded, and where in it we are, for messages. */
struct load {
    struct lm_rulepack *pack;
    const char *text;
    size_t len;
    struct lm_problem *p;
    bool no_memory;
    const char *section; /* "rules", "formats", ..., or NULL for the pack itself */
    size_t index;        /* in that section */
    const char *part;    /* object within: "applies_when", ..., or NULL */
};

/* Refuse the value of a key (NULL: the whole object). @return false. */
bool lm_pack_bad(struct load *l, const char *key, const char *fmt, ...)
    __attribute__((format(printf, 3, 4)));

/* Zeroed memory that lives as long as the pack, or NULL. */
void *lm_pack_take(struct load *l, size_t n, size_t size);

/* Position of a value: the key of a part of an element of a section. Each may be missing. */
size_t lm_pack_where(const char *text, size_t len, const char *section, size_t index,
    const char *part, const char *key);

/* Refuse keys that are not among `known` (NULL at the end). */
bool lm_pack_keys(struct load *l, const json_t *object, const char *const *known);

/* Values of a key. Left alone when it is not there, unless it must be. */
bool lm_pack_text(
    struct load *l, const json_t *o, const char *key, bool must, size_t max, const char **out);
bool lm_pack_words(struct load *l, const json_t *o, const char *key, struct lm_words *out);
bool lm_pack_int(struct load *l, const json_t *o, const char *key, int lo, int hi, int *out);
bool lm_pack_bool(struct load *l, const json_t *o, const char *key, bool *out);
bool lm_pack_answer(struct load *l, const json_t *o, const char *key, uint8_t *out);
bool lm_pack_date(struct load *l, const json_t *o, const char *key, struct lm_date *out);
bool lm_pack_forms(struct load *l, const json_t *o, const char *key, unsigned *out);
bool lm_pack_places(struct load *l, const json_t *o, const char *key, unsigned *out);

/* An id: letters, digits and '-', at most 32. */
bool lm_pack_id(struct load *l, const json_t *o, const char **out);

/* The parts. */
bool lm_pack_format(struct load *l, const json_t *o, struct lm_number_format *out);
bool lm_pack_when(struct load *l, const json_t *o, struct lm_when *out);
bool lm_pack_need(struct load *l, const json_t *o, struct lm_need *out);
bool lm_pack_rule(struct load *l, const json_t *o, struct lm_rule *out);

#endif
