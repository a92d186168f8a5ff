/** @file frame.h
 * A frame as the configuration describes it: the description taken apart, and bytes judged by it.
 *
 * Private to the decoder `frame` (frame*.c) and to `lugmark readers --try`, which shows people why
 * a description does not fit. The grammar stands in frame.c. Everything here is pure.
 */
#ifndef DRIVERS_FRAME_H
#define DRIVERS_FRAME_H

#include "lugmark/driver.h"

#define LM_FRAME_MAX 1024u   /**< longest frame, bytes: all that a hunt ever holds */
#define LM_FRAME_FIELDS 24u  /**< most fields of a frame */
#define LM_FRAME_MARK_MAX 8u /**< longest start or end, bytes */
#define LM_FRAME_ENDS 4u     /**< most alternatives of the end */
#define LM_FRAME_LITERAL_MAX 16u
#define LM_FRAME_WIDTH_MAX 512u /**< widest skip or rest, bytes */
#define LM_FRAME_DIGITS 32u     /**< digits of the widest number, a telegram in hex */

enum lm_frame_kind {
    LM_FRAME_COUNTRY,
    LM_FRAME_NATIONAL,
    LM_FRAME_BLOCK,    /**< the 64 bits */
    LM_FRAME_TELEGRAM, /**< 128 bits FDX-B */
    LM_FRAME_CRC,      /**< the code's own CRC */
    LM_FRAME_ANIMAL,
    LM_FRAME_DATA, /**< data-block flag */
    LM_FRAME_RETAG,
    LM_FRAME_USER,
    LM_FRAME_LENGTH,
    LM_FRAME_SKIP,
    LM_FRAME_REST, /**< whatever else the length counts */
    LM_FRAME_LITERAL,
    LM_FRAME_KINDS
};

enum lm_frame_base {
    LM_FRAME_PLAIN, /**< not said: binary, and for a flag also ASCII 0 and 1 */
    LM_FRAME_BINARY,
    LM_FRAME_HEX,     /**< ASCII digits 0-9 A-F a-f */
    LM_FRAME_DECIMAL, /**< ASCII digits */
    LM_FRAME_BCD      /**< two decimal digits a byte */
};

/** One field, in the order of the frame. */
struct lm_frame_field {
    enum lm_frame_kind kind;
    enum lm_frame_base base;
    bool little;   /**< last byte is the most significant */
    bool reversed; /**< last digit is the most significant */
    bool lsb;      /**< the lowest bit of a byte is the most significant */
    int bit;       /**< flag: which bit of the byte, 0 the lowest; -1: the whole byte */
    size_t width;  /**< bytes; of a rest the most */
    uint8_t literal[LM_FRAME_LITERAL_MAX];
};

enum lm_frame_check_kind {
    LM_FRAME_NO_CHECK,
    LM_FRAME_XOR,
    LM_FRAME_SUM8,
    LM_FRAME_SUM16,
    LM_FRAME_CRC16,
    LM_FRAME_CHECK_KINDS
};

struct lm_frame_check {
    enum lm_frame_check_kind kind;
    uint16_t poly, init, xorout;
    bool reflect_in, reflect_out;
    bool inverted; /**< sent with every bit turned over */
    bool negated;  /**< sent as what is missing to zero */
    bool copy;     /**< an inverted copy follows */
    bool hex;      /**< sent as ASCII hex digits */
    bool little;
};

/** From where to where a length or a check goes. */
enum lm_frame_place {
    LM_FRAME_START,
    LM_FRAME_AFTER_START,
    LM_FRAME_AT_LENGTH,
    LM_FRAME_AFTER_LENGTH,
    LM_FRAME_AT_FIELD,  /**< check only; `check_field` says which */
    LM_FRAME_TO_FIELDS, /**< to the last field */
    LM_FRAME_TO_CHECK,  /**< to the end of the check */
    LM_FRAME_TO_END     /**< to the last byte */
};

/** A whole description. Plain value; lm_frame_spec_read() fills it. */
struct lm_frame_spec {
    uint8_t start[LM_FRAME_MARK_MAX];
    size_t start_len;
    struct lm_frame_field fields[LM_FRAME_FIELDS];
    size_t n_fields;
    int length; /**< which field is the length, -1 for none */
    int rest;   /**< which one is the rest, -1 for none */
    enum lm_frame_place counts_from, counts_to;
    struct lm_frame_check check;
    enum lm_frame_place check_from;
    size_t check_field;
    uint8_t ends[LM_FRAME_ENDS][LM_FRAME_MARK_MAX];
    size_t n_ends, end_len;
};

/** The settings that describe a frame, NULL at the end. */
extern const char *const lm_frame_keys[];

/**
 * Read a description.
 * @param[out] spec  Set on LM_OK.
 * @return LM_OK, or LM_EINPUT with @p p filled: it begins with the key and names the word.
 */
enum lm_err lm_frame_spec_read(
    struct lm_frame_spec *spec, const struct lm_setting *settings, size_t n, struct lm_problem *p);

/** Whether a wrong byte would be noticed: by a check, or by the code's own CRC. */
bool lm_frame_is_guarded(const struct lm_frame_spec *spec);

/** Bytes that the check takes in the frame, with its copy; 0 for none. */
size_t lm_frame_check_bytes(const struct lm_frame_check *check);

/** Whether @p sent, of lm_frame_check_bytes(), is the check of @p len bytes. */
bool lm_frame_check_is(
    const struct lm_frame_check *check, const uint8_t *data, size_t len, const uint8_t *sent);

/** Write what a right check of @p len bytes would be, lm_frame_check_bytes() of it. */
void lm_frame_check_make(
    const struct lm_frame_check *check, const uint8_t *data, size_t len, uint8_t *out);

/** What bytes are, taken as a frame that begins with the first of them. */
enum lm_frame_what {
    LM_FRAME_MORE,      /**< a frame so far: more bytes are needed to tell */
    LM_FRAME_NOT,       /**< no frame begins here: start, literal, length or end does not fit */
    LM_FRAME_BAD_CHECK, /**< all that fits, and the check is wrong */
    LM_FRAME_NO_CODE,   /**< a frame, but something that should be a digit or flag is none */
    LM_FRAME_BAD_VALUE, /**< a frame, with a code that no chip can hold, or all zero */
    LM_FRAME_GOOD
};

struct lm_frame_verdict {
    enum lm_frame_what what;
    size_t len;        /**< bytes of the frame; 0 when it is MORE, or NOT before that is known */
    size_t part;       /**< where it went wrong, as lm_frame_part() counts */
    struct lm_eid eid; /**< GOOD only */
};

/** Judge @p have bytes. */
void lm_frame_judge(const struct lm_frame_spec *spec, const uint8_t *bytes, size_t have,
    struct lm_frame_verdict *verdict);

/** A piece of a frame, for showing. */
struct lm_frame_part {
    const char *name;                   /**< start, the word of a field, check, end */
    size_t at, len;                     /**< its bytes */
    const struct lm_frame_field *field; /**< NULL when it is none */
};

/**
 * Part @p i of a frame of @p frame_len bytes: 0 is the start, then the fields, check, end.
 * @return false when there are no more; a part may have no bytes.
 */
bool lm_frame_part(
    const struct lm_frame_spec *spec, size_t frame_len, size_t i, struct lm_frame_part *part);

/** Number of a field that holds one. @return false when a byte is no digit. */
bool lm_frame_number(const struct lm_frame_field *field, const uint8_t *bytes, uint64_t *value);

/** Bytes of a block, telegram or CRC as binary, most significant first. @return as above. */
bool lm_frame_binary(const struct lm_frame_field *field, const uint8_t *bytes, uint8_t *out);

/** Word of a field kind; never NULL. */
const char *lm_frame_kind_name(enum lm_frame_kind kind);

/** Frames in an endless stream of bytes. Zero-initialise, then set `spec`. */
struct lm_frame_hunt {
    const struct lm_frame_spec *spec;
    uint8_t buf[2 * LM_FRAME_MAX];
    size_t head, len; /**< what is not yet judged: buf[head], len bytes */
    size_t told;      /**< how many of these were told of in a frame that was refused */
    size_t lost;      /**< bytes passed over since something was last told */
    bool astray;      /**< what is held need not begin with a frame: bytes were passed over */
};

/** Who hears of frames: those refused and good, and bytes passed over between (@p frame NULL). */
typedef void lm_frame_fn(
    const struct lm_frame_verdict *verdict, const uint8_t *frame, size_t len, void *ctx);

/** Take bytes, cut anywhere. */
void lm_frame_feed(
    struct lm_frame_hunt *hunt, const uint8_t *data, size_t len, lm_frame_fn *fn, void *ctx);

#endif
