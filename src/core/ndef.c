/** @file ndef.c
 * Type 2 tag memory to an NDEF message, and a message to its records.
 */
#include "lugmark/ndef.h"

#include <string.h>

/* --- Type 2 tag --- */

enum { TLV_NULL = 0x00, TLV_LOCK = 0x01, TLV_MEMORY = 0x02, TLV_NDEF = 0x03, TLV_END = 0xFE };

#define CC_AT 12u /**< page 3 */
#define CC_MAGIC 0xE1
#define CC_UNIT 8u /**< the container says the size of the data area in these */
#define LONG_LENGTH 0xFF
#define RESERVED_MAX 8u

/** Bytes that do not belong to the data although they lie in its midst. */
struct reserved {
    size_t from, len;
};

/** The data area, read byte by byte around what is reserved. */
struct area {
    const uint8_t *memory;
    size_t at, end; /**< end: of the data area */
    size_t have;    /**< end of what was read */
    struct reserved reserved[RESERVED_MAX];
    size_t n_reserved;
};

size_t lm_t2t_size(const uint8_t *memory, size_t len)
{
    if (len < LM_T2T_HEAD || memory[CC_AT] != CC_MAGIC || memory[CC_AT + 1] >> 4 != 1)
        return 0;
    size_t size = LM_T2T_HEAD + (size_t) memory[CC_AT + 2] * CC_UNIT;
    return size < LM_T2T_MAX ? size : LM_T2T_MAX;
}

/** Next byte of the data, or why there is none: LM_NDEF_EMPTY at the end of the area. */
static enum lm_ndef next(struct area *a, uint8_t *out)
{
    for (size_t i = 0; i < a->n_reserved; i++) {
        const struct reserved *r = &a->reserved[i];
        if (a->at < r->from || a->at - r->from >= r->len)
            continue;
        a->at = r->from + r->len;
        i = (size_t) -1; /* that may be where another one begins */
    }
    if (a->at >= a->end)
        return LM_NDEF_EMPTY;
    if (a->at >= a->have)
        return LM_NDEF_CUT;
    *out = a->memory[a->at++];
    return LM_NDEF_OK;
}

/** A byte that must be there: the end of the area before it is a wrong length. */
static enum lm_ndef must(struct area *a, uint8_t *out)
{
    enum lm_ndef why = next(a, out);
    return why == LM_NDEF_EMPTY ? LM_NDEF_BROKEN : why;
}

static enum lm_ndef take_length(struct area *a, size_t *len)
{
    uint8_t high = 0, low = 0;
    enum lm_ndef why = must(a, &low);
    *len = low;
    if (why != LM_NDEF_OK || low != LONG_LENGTH)
        return why;
    why = must(a, &high);
    if (why == LM_NDEF_OK)
        why = must(a, &low);
    *len = (size_t) high << 8 | low;
    return why;
}

/** Where lock or reserved bytes lie: page and byte, how many, and how long a "page" is here. */
static enum lm_ndef take_reserved(struct area *a, uint8_t tag, size_t len)
{
    uint8_t v[3] = {0};
    if (len != sizeof v)
        return LM_NDEF_BROKEN;
    for (size_t i = 0; i < sizeof v; i++) {
        enum lm_ndef why = must(a, &v[i]);
        if (why != LM_NDEF_OK)
            return why;
    }
    if (a->n_reserved == RESERVED_MAX)
        return LM_NDEF_BROKEN;
    size_t many = v[1] != 0 ? v[1] : 256;
    a->reserved[a->n_reserved++] = (struct reserved){
        .from = ((size_t) (v[0] >> 4) << (v[2] & 15)) + (v[0] & 15),
        .len = tag == TLV_LOCK ? (many + 7) / 8 : many,
    };
    return LM_NDEF_OK;
}

static enum lm_ndef skip(struct area *a, size_t len)
{
    enum lm_ndef why = LM_NDEF_OK;
    uint8_t byte;
    while (len-- > 0 && why == LM_NDEF_OK)
        why = must(a, &byte);
    return why;
}

static enum lm_ndef take_message(struct area *a, size_t len, uint8_t *out, size_t *n)
{
    if (len == 0)
        return LM_NDEF_EMPTY;
    if (len > LM_NDEF_MAX)
        return LM_NDEF_BROKEN; /* longer than the data area can be */
    for (size_t i = 0; i < len; i++) {
        enum lm_ndef why = must(a, &out[i]);
        if (why != LM_NDEF_OK)
            return why;
    }
    *n = len;
    return LM_NDEF_OK;
}

/** The blocks of the data area, up to the message or to what is wrong. */
static enum lm_ndef find_message(struct area *a, uint8_t *out, size_t *n)
{
    for (;;) {
        uint8_t tag = 0;
        size_t length = 0;
        enum lm_ndef why = next(a, &tag);
        if (why != LM_NDEF_OK || tag == TLV_END)
            return why != LM_NDEF_OK ? why : LM_NDEF_EMPTY;
        if (tag == TLV_NULL)
            continue;
        why = take_length(a, &length);
        if (why == LM_NDEF_OK && tag == TLV_NDEF)
            return take_message(a, length, out, n);
        if (why == LM_NDEF_OK)
            why = tag == TLV_LOCK || tag == TLV_MEMORY ? take_reserved(a, tag, length)
                                                       : skip(a, length);
        if (why != LM_NDEF_OK)
            return why;
    }
}

enum lm_ndef lm_t2t_message(const uint8_t *memory, size_t len, uint8_t out[LM_NDEF_MAX], size_t *n)
{
    *n = 0;
    if (len < LM_T2T_HEAD)
        return LM_NDEF_CUT;
    if (memory[CC_AT] != CC_MAGIC)
        return LM_NDEF_NO_TAG;
    size_t size = lm_t2t_size(memory, len);
    if (size == 0)
        return LM_NDEF_NEWER;
    struct area a = {.memory = memory, .at = LM_T2T_HEAD, .end = size, .have = len};
    return find_message(&a, out, n);
}

/* --- records --- */

enum { FLAG_MB = 0x80, FLAG_ME = 0x40, FLAG_CF = 0x20, FLAG_SR = 0x10, FLAG_IL = 0x08 };

/** One record or chunk as it lies in the message. */
struct raw {
    uint8_t flags;
    enum lm_ndef_tnf tnf;
    const uint8_t *type, *payload;
    size_t type_len, id_len, len;
};

struct span {
    const uint8_t *at;
    size_t left;
};

static const uint8_t *take(struct span *s, size_t n)
{
    if (n > s->left)
        return NULL;
    const uint8_t *bytes = s->at;
    s->at += n;
    s->left -= n;
    return bytes;
}

/** The lengths of a record. @return false when they are not all there. */
static bool take_lengths(struct span *s, struct raw *r)
{
    const uint8_t *head = take(s, 2);
    if (head == NULL)
        return false;
    r->flags = head[0];
    r->tnf = (enum lm_ndef_tnf)(head[0] & 7);
    r->type_len = head[1];
    const uint8_t *len = take(s, (r->flags & FLAG_SR) != 0 ? 1 : 4);
    if (len == NULL)
        return false;
    r->len = len[0];
    if ((r->flags & FLAG_SR) == 0)
        r->len = (size_t) len[0] << 24 | (size_t) len[1] << 16 | (size_t) len[2] << 8 | len[3];
    if ((r->flags & FLAG_IL) == 0)
        return true;
    const uint8_t *id = take(s, 1);
    r->id_len = id != NULL ? id[0] : 0;
    return id != NULL;
}

/** What the kind of a record demands of its lengths. */
static bool lengths_fit(const struct raw *r)
{
    switch (r->tnf) {
    case LM_TNF_EMPTY:
        return r->type_len == 0 && r->id_len == 0 && r->len == 0;
    case LM_TNF_UNKNOWN:
    case LM_TNF_UNCHANGED:
        return r->type_len == 0;
    case LM_TNF_WELL_KNOWN:
    case LM_TNF_MIME:
    case LM_TNF_URI:
    case LM_TNF_EXTERNAL:
        return r->type_len > 0;
    case LM_TNF_RESERVED:
        break;
    }
    return true;
}

static bool take_raw(struct span *s, struct raw *r)
{
    *r = (struct raw){0};
    if (!take_lengths(s, r) || !lengths_fit(r))
        return false;
    r->type = take(s, r->type_len);
    if (r->type == NULL || take(s, r->id_len) == NULL)
        return false;
    r->payload = take(s, r->len);
    return r->payload != NULL;
}

/** Put the chunks after @p r together. @return false when one of them is wrong. */
static bool take_chunks(struct span *s, struct raw *r, uint8_t buf[LM_NDEF_MAX])
{
    size_t n = 0;
    struct raw part = *r;
    for (;;) {
        if (part.len > LM_NDEF_MAX - n)
            return false;
        memcpy(buf + n, part.payload, part.len);
        n += part.len;
        if ((part.flags & FLAG_CF) == 0)
            break;
        if ((part.flags & FLAG_ME) != 0 || !take_raw(s, &part))
            return false;
        if (part.tnf != LM_TNF_UNCHANGED || (part.flags & (FLAG_MB | FLAG_IL)) != 0)
            return false;
    }
    r->payload = buf;
    r->len = n;
    r->flags = part.flags; /* the last chunk says whether the message ends here */
    return true;
}

static bool is_poster(const struct raw *r)
{
    return r->tnf == LM_TNF_WELL_KNOWN && r->type_len == 2 && memcmp(r->type, "Sp", 2) == 0;
}

/** Bounded by LM_NDEF_DEPTH, with one buffer for chunks at each depth. */
static enum lm_ndef walk(struct span s, unsigned depth, lm_ndef_fn *fn, void *ctx)
{
    uint8_t buf[LM_NDEF_MAX];
    enum lm_ndef why = s.left > 0 ? LM_NDEF_OK : LM_NDEF_EMPTY;
    bool first = true, last = false;
    while (why == LM_NDEF_OK && !last) {
        struct raw r;
        if (!take_raw(&s, &r) || ((r.flags & FLAG_MB) != 0) != first || r.tnf == LM_TNF_UNCHANGED ||
            ((r.flags & FLAG_CF) != 0 && !take_chunks(&s, &r, buf)))
            return LM_NDEF_BROKEN;
        first = false;
        last = (r.flags & FLAG_ME) != 0;
        if (is_poster(&r) && depth == LM_NDEF_DEPTH)
            return LM_NDEF_TOO_DEEP;
        if (is_poster(&r))
            why = walk((struct span){r.payload, r.len}, depth + 1, fn, ctx);
        else
            why = fn(
                &(struct lm_ndef_record){r.tnf, r.type, r.type_len, r.payload, r.len, depth}, ctx);
    }
    return why;
}

enum lm_ndef lm_ndef_records(const uint8_t *message, size_t len, lm_ndef_fn *fn, void *ctx)
{
    if (len > LM_NDEF_MAX)
        return LM_NDEF_BROKEN;
    return walk((struct span){message, len}, 0, fn, ctx);
}
