/** @file sheet_data.h
 * What a printed report says, gathered once and written in four forms.
 */
#ifndef LM_REPORT_SHEET_DATA_H
#define LM_REPORT_SHEET_DATA_H

#include "lugmark/inventory.h"
#include "lugmark/printed.h"
#include "lugmark/report.h"

#define LM_BINS_MAX 60u      /**< columns of the picture of a race: wide enough to tell apart */
#define LM_PER_PASS_MAX 12u  /**< the last class is "or more" */
#define LM_LIST_MAX 200u     /**< rows of one list on paper */
#define LM_SAID_MAX 40u      /**< explanations on paper */
#define LM_SAID_LEAST 0.2    /**< less likely ones are not printed, unless of the best story */
#define LM_DEVICES_SHOWN 12u /**< kinds of device in one picture */
#define LM_CURVES_SHOWN 4u   /**< retention curves on paper */

/** Animals that came past in one stretch, by the weightiest thing said of each. */
struct lm_race_bin {
    uint32_t by_attention[3]; /**< by enum lm_attention */
};

/** Animals past the race. By the clock, or one after another where no clock tells. */
struct lm_race {
    bool by_time;
    int64_t start_ms; /**< by time: where the first stretch begins */
    int64_t width;    /**< of one stretch: milliseconds, or animals */
    size_t n_bins;
    struct lm_race_bin bins[LM_BINS_MAX + 2];
    uint32_t past;    /**< animals past, again and again */
    uint32_t untimed; /**< of them without a time */
    uint32_t called;  /**< of them by their number only */
    uint32_t by_attention[3];
    uint32_t per_pass[LM_PER_PASS_MAX + 1]; /**< passes by readings, from 1 */
    uint32_t passes;
    uint64_t in_passes; /**< readings in them; the others were in doubt */
};

struct lm_printed {
    struct lm_printed_source from;
    const struct lm_session *s;
    const struct lm_roll *roll;
    struct lm_summary sum;
    char holding[256];
    struct lm_finding *findings; /**< in their fixed order */
    size_t n, cap;
    bool no_room; /**< while gathering */
    uint32_t reasons[LM_REASONS];
    uint32_t asked[LM_KINDS][3]; /**< findings by kind and attention */
    struct lm_race race;
    struct lm_readability read[LM_READABILITY_MAX];
    size_t n_read;
    struct lm_retentions stays;
};

/** Fold the session once more and keep who came past when. @return LM_OK or what failed. */
enum lm_err lm_sheet_race(struct lm_printed *p);

/** Marks of an animal in words, several devices with a comma between; "" where not said. */
struct lm_sheet_marks {
    char number[160], colour[96], place[96], sex[24];
};
void lm_sheet_marks(const struct lm_roll *roll, uint32_t animal, struct lm_sheet_marks *out);

/** The codes a finding is about, with blanks between. @return @p out. */
char *lm_sheet_codes(
    const struct lm_printed *p, const struct lm_finding *f, char *out, size_t size);
/** The number printed on what a finding is about, or "". @return @p out. */
char *lm_sheet_number(
    const struct lm_printed *p, const struct lm_finding *f, char *out, size_t size);

const char *lm_sheet_session_kind(enum lm_session_kind kind); /**< "Walk through the race", ... */

/** Number of the session, and its name where it has another. @return @p out. */
char *lm_sheet_name(const struct lm_printed *p, char *out, size_t size);
/** Who is on the roll, in words. @return @p out. */
char *lm_sheet_scope(const struct lm_printed *p, char *out, size_t size);
/** An instant to the minute: 2026-11-02 08:00 UTC, or "not said". @return @p out. */
char *lm_sheet_time(int64_t t_ms, char out[LM_TIME_TEXT_SIZE]);
/** What the three figures leave open, in plain words. @return @p out. */
char *lm_sheet_bounds(const struct lm_printed *p, char *out, size_t size);
/** How one explanation begins: who and what. @return @p out. */
char *lm_sheet_explain(
    const struct lm_printed *p, const struct lm_explanation *e, char *out, size_t size);
/** Whether an explanation is likely enough for paper. */
static inline bool lm_sheet_worth(const struct lm_explanation *e)
{
    return e->best || e->probability >= LM_SAID_LEAST;
}
/** How sure an explanation is: "68 %"; never 100 %, which nobody is. @return @p out. */
char *lm_sheet_sure(double probability, char out[16]);
/** "flag tag, left ear". @return @p out. */
char *lm_sheet_device(uint8_t form, uint8_t place, char *out, size_t size);

/** Append text to a buffer that is never overrun. */
void lm_sheet_add(char *out, size_t size, const char *fmt, ...)
    __attribute__((format(printf, 3, 4)));

/** What every form of the report ends with, one sentence each, NULL at the end. */
extern const char *const lm_sheet_cautions[];

#endif
