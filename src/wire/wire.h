/** @file wire.h
 * Private to src/wire: reading JSON objects strictly, with messages that say where.
 */
#ifndef LM_WIRE_H
#define LM_WIRE_H

#include "lugmark/event.h"
#include <jansson.h>

#define LM_WIRE_EID_SIZE LM_EID_TEXT_SIZE /**< "0x" + 16 digits + NUL fit, too */

/** The input that is being read, for messages. */
struct lm_wire_in {
    const char *text; /**< the whole JSON text */
    size_t len;
    const char *at;       /**< put before every message, such as "device 2: "; never NULL */
    struct lm_problem *p; /**< may be NULL */
};

/**
 * Record a problem with the value of @p key (NULL for the whole object).
 * The column is that of the key's first place in the text; inside `devices` none is given.
 * @return LM_EINPUT.
 */
enum lm_err lm_wire_bad(const struct lm_wire_in *in, const char *key, const char *mend,
    const char *fmt, ...) __attribute__((format(printf, 4, 5)));

/**
 * Parse JSON text that must be one object: byte order mark skipped, double keys refused.
 * @param[out] root  Ownership: the caller, json_decref().
 * @return LM_OK, LM_EINPUT, LM_ENOMEM.
 */
enum lm_err lm_wire_load(const struct lm_wire_in *in, json_t **root);

/** A value, with null taken as not there. Borrowed. */
json_t *lm_wire_get(const json_t *obj, const char *key);

/** A string value; NULL and 0 when it is not there. Borrowed. @return LM_OK or LM_EINPUT. */
enum lm_err lm_wire_string(
    const struct lm_wire_in *in, const json_t *obj, const char *key, const char **s, size_t *n);

/** A string that must fit @p size and be clean; "" when it is not there. */
enum lm_err lm_wire_text(
    const struct lm_wire_in *in, const json_t *obj, const char *key, char *out, size_t size);

/** An integer from @p lo to @p hi; left alone when it is not there. */
enum lm_err lm_wire_int(const struct lm_wire_in *in, const json_t *obj, const char *key, int64_t lo,
    int64_t hi, int64_t *out);

/** True or false; left alone when it is not there. */
enum lm_err lm_wire_bool(
    const struct lm_wire_in *in, const json_t *obj, const char *key, bool *out);

/** A code as text, any form, or a chip's UID; "no code" when it is not there or empty. */
enum lm_err lm_wire_eid(
    const struct lm_wire_in *in, const json_t *obj, const char *key, struct lm_eid *out);

/**
 * Write a code: 15 digits, 16 hex digits when all 64 bits are known, or `uid:` and hex digits. 0x
 * stands before when the hex digits happen to be decimal ones only, which no reader could tell from
 * a damaged code.
 * @return @p out; "" for no code.
 */
char *lm_wire_eid_text(struct lm_eid eid, char out[LM_WIRE_EID_SIZE]);

/** Put a text under a key unless it is empty. Ownership: the object's. @return 0, or -1. */
int lm_wire_put(json_t *obj, const char *key, const char *text);

/**
 * A value in one line. As json_dumps(), which is not to be used: when memory runs out in its middle
 * it may leave a few bytes out and say nothing of it.
 * Ownership: free(). NULL when out of memory.
 */
char *lm_wire_dumps(const json_t *value);

/** An animal as a JSON object. Ownership: the caller. NULL when out of memory. */
json_t *lm_wire_record(const struct lm_record *rec);

/** Read an animal. Only what is used of @p rec is written. @return LM_OK or LM_EINPUT. */
enum lm_err lm_wire_record_parse(
    const struct lm_wire_in *in, const json_t *obj, struct lm_record *rec);

/** Words of enum lm_doubt in files; "" for none. */
const char *lm_wire_doubt_name(enum lm_doubt doubt);

#endif
