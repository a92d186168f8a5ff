/* lugmark readers --try: captured bytes through every decoder, to see which one fits. */
#ifndef LUGMARK_CLI_TRY_H
#define LUGMARK_CLI_TRY_H

#include "command.h"
#include "drivers/frame.h"
#include "drivers/ini.h"
#include "lugmark/port.h"

#define LM_TRY_SECTIONS 48u /* readers and frames of a configuration */
#define LM_TRY_SETTINGS 40u
#define LM_TRY_DECODERS (LM_TRY_SECTIONS + 16u) /* and the built-in ones */
#define LM_TRY_CODES 200u /* different codes shown of one decoder; more are only counted */
#define LM_TRY_EXAMPLES 3u
#define LM_TRY_NAME 160u

/* A section [reader NAME] or [frame NAME] as it stands. */
struct lm_try_section {
    bool frame;
    char name[64];
    char used_by[LM_TRY_NAME]; /* frame: names of the readers that name it */
    long line;
    size_t n;
    struct {
        char key[48];
        char value[LM_INI_LINE_MAX + 1];
        long line;
    } settings[LM_TRY_SETTINGS];
};

/* One decoder to try, and what came of it. */
struct lm_try_decoder {
    char name[LM_TRY_NAME];
    const char *used_by; /* "" for none */
    const struct lm_decoder_ops *ops;
    struct lm_setting settings[LM_TRY_SETTINGS];
    size_t n_settings;
    bool is_frame;
    struct lm_frame_spec spec; /* a frame's */
    size_t readings, n_codes, more_codes;
    struct {
        uint64_t key;
        char text[LM_EID_TEXT_SIZE];
        size_t times;
    } codes[LM_TRY_CODES];
    size_t rejects[LM_REJECTS], reject_bytes[LM_REJECTS];
};

/* Everything of one call. Big: allocate it. */
struct lm_try {
    const char *source;               /* what was read, for people */
    char config[LM_PROBLEM_FILE_MAX]; /* "" for none */
    struct lm_try_section sections[LM_TRY_SECTIONS];
    size_t n_sections;
    struct lm_try_decoder decoders[LM_TRY_DECODERS];
    size_t n_decoders;
    uint8_t *bytes; /* the capture; ownership: free() */
    size_t len;
};

/* A frame found, or the nearest thing to one. */
struct lm_try_example {
    size_t at; /* byte of the capture */
    struct lm_frame_verdict verdict;
};

/* One part of an example, put into words. */
struct lm_try_part {
    const char *name;
    size_t at, len; /* in the capture */
    char value[48]; /* "" for none */
    char note[160]; /* what is wrong with it, "" for nothing */
};

/*
 * Read the readers and frames of a configuration and make the list of decoders.
 * path may be NULL for none. Returns LM_EXIT_OK, or another after saying what is wrong.
 */
int lm_try_configure(struct lm_try *t, const char *path);

/* The settings of the reader that has this port, or NULL. */
const struct lm_try_section *lm_try_reader_at(const struct lm_try *t, const char *port);

/* A setting of a section, or NULL. */
const char *lm_try_setting(const struct lm_try_section *s, const char *key);

/*
 * Take in a file, "-" or a port, into bytes and len.
 * Returns LM_EXIT_OK, or another after saying what is wrong.
 */
int lm_try_take(struct lm_try *t, const struct lm_args *args);

/* The first frames of a capture. Returns how many. */
size_t lm_try_examples(
    const struct lm_try *t, const struct lm_frame_spec *spec, struct lm_try_example *out);

/* What comes nearest to a frame; false when not even a start is there. */
bool lm_try_nearest(
    const struct lm_try *t, const struct lm_frame_spec *spec, struct lm_try_example *out);

/* Part i of an example; false when there are no more to show. */
bool lm_try_part(const struct lm_try *t, const struct lm_frame_spec *spec,
    const struct lm_try_example *example, size_t i, struct lm_try_part *part);

/* Show everything. best is NULL when no decoder found a code. */
void lm_try_show(const struct lm_try *t, const struct lm_try_decoder *best);
void lm_try_show_json(const struct lm_try *t, const struct lm_try_decoder *best);

/* Run `lugmark readers --try`. Returns enum lm_exit. */
int lm_try_run(const struct lm_args *args);

#endif
