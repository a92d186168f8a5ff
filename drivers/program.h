/** @file program.h
 * The inside of driver `program`, for drivers that are a preset of it. Private to drivers/.
 */
#ifndef DRIVERS_PROGRAM_H
#define DRIVERS_PROGRAM_H

#include <limits.h>

#include "child.h"
#include "lugmark/eventline.h"

#define PROGRAM_WORDS 32u         /**< words of a command at most */
#define PROGRAM_COMMAND_MAX 4096u /**< longest command, bytes */
#define PROGRAM_LINE_MAX 65536u   /**< longest event line taken, bytes */
#define PROGRAM_NOTE_MAX 256u     /**< longest message handed on, bytes */

struct program {
    struct child child;
    bool open;
    char *argv[PROGRAM_WORDS + 1]; /**< point into `words`, or wherever a preset keeps its own */
    char words[PROGRAM_COMMAND_MAX];
    char dir[PATH_MAX];
    char found[PATH_MAX]; /**< what is run, for people; "" while closed */
    int64_t out_ended_ms; /**< when it closed its output, 0 while that is open */
    size_t after_end;     /**< bytes read since it ended: others may hold its pipe */
    struct lm_eventline *store;
    char line[PROGRAM_LINE_MAX]; /**< the line so far */
    size_t len;
    bool skipping;               /**< the line was too long: drop bytes up to its end */
    char note[PROGRAM_NOTE_MAX]; /**< the message so far */
    size_t note_len;
    char last[PROGRAM_NOTE_MAX]; /**< the last message, for when it ends; "" for none */
};

/**
 * Prepare a program without a command, not open. @p g is fresh from calloc(), alone or as the first
 * member of a preset's state; program_free() frees the whole.
 * @return LM_OK or LM_ENOMEM.
 */
enum lm_err program_init(struct program *g, struct lm_problem *p);

/** Split a command into `argv`. @return LM_OK, or LM_EINPUT with @p p filled. */
enum lm_err program_command(struct program *g, const char *command, struct lm_problem *p);

/* The functions of struct lm_driver_ops; state is struct program. */
enum lm_err program_open(void *state, int *fd, struct lm_problem *p);
enum lm_err program_service(void *state, const struct lm_sink *sink);
int program_tick_ms(void *state);
void program_gone(void *state, struct lm_problem *p);
void program_close(void *state);
void program_free(void *state);
const char *program_describe(void *state);

/* In program_lines.c: bytes of its output to events, bytes of its messages to notes. */

/** @return How many events the sink was given. */
size_t program_take_output(
    struct program *g, const char *data, size_t len, const struct lm_sink *sink);
void program_take_messages(
    struct program *g, const char *data, size_t len, const struct lm_sink *sink);
/** There will be no more: a last line without its end is taken as it is. @return As above. */
size_t program_take_rest(struct program *g, const struct lm_sink *sink);

#endif
