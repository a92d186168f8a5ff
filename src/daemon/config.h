/** @file config.h
 * The configuration file: INI, read by inih, with every mistake named by file and line.
 */
#ifndef LUGMARK_DAEMON_CONFIG_H
#define LUGMARK_DAEMON_CONFIG_H

#include "drivers/ini.h"
#include "lugmark/driver.h"
#include "lugmark/regcsv.h"
#include "lugmark/session.h"
#include "peer.h"

#define CONFIG_LINE_MAX LM_INI_LINE_MAX
#define CONFIG_KEY_MAX 48u
#define CONFIG_READERS 32u /**< more than any yard has */
#define CONFIG_LANES 16u
#define CONFIG_FRAMES 16u
#define CONFIG_SETTINGS 40u /**< keys of one section */

/** One `key = value` line. */
struct config_setting {
    char key[CONFIG_KEY_MAX];
    char value[CONFIG_LINE_MAX + 1];
    long line;
};

/** A section with free keys, such as [reader front]. */
struct config_block {
    char name[LM_NAME_MAX + 1];
    long line;
    size_t n;
    struct config_setting settings[CONFIG_SETTINGS];
};

struct config_reader {
    struct config_block block;
    char lane[LM_NAME_MAX + 1];
    const struct lm_driver_ops *ops;
    int64_t silent_ms; /**< a reader without a byte for so long is called silent */
    /** What the driver gets: `block`, and the keys of the frame that it names. */
    struct lm_setting list[2 * CONFIG_SETTINGS];
    size_t n_list;
    const struct config_block *frame; /**< the section that its decoder names, or NULL */
};

struct config_lane {
    char name[LM_NAME_MAX + 1];
    long line;
    int64_t rearm_ms; /**< LM_TIME_NONE when not said */
    int64_t crossing_ms;
};

struct config {
    char file[LM_PROBLEM_FILE_MAX]; /**< "" when there is none */
    char holding_name[LM_VISUAL_MAX + 1];
    char holding_number[LM_NAME_MAX + 1];
    char holding_keeper[LM_VISUAL_MAX + 1];
    char page_listen[LM_NAME_MAX + 1]; /**< address:port, "off", or "" for the default */
    char page_lan[LM_NAME_MAX + 1];    /**< address for paired devices, "off", or "" for all */
    enum peer_may control_group;       /**< what the group of the control socket may do */
    struct config_reader readers[CONFIG_READERS];
    size_t n_readers;
    struct config_lane lanes[CONFIG_LANES];
    size_t n_lanes;
    struct config_block frames[CONFIG_FRAMES];
    size_t n_frames;
    struct lm_session_options options;
};

/** The defaults, as with an empty file. Ownership: free(). NULL when out of memory. */
struct config *config_new(void);

/**
 * Read a file into @p cfg, which is fresh from config_new().
 * @param[in] fn  Called for each mistake, not only the first.
 * @return LM_OK; LM_ENOTFOUND when the file cannot be opened; LM_EINPUT after mistakes.
 */
enum lm_err config_read(struct config *cfg, const char *path, lm_problem_fn *fn, void *ctx);

/**
 * What differs from the defaults, as the open event of a session carries it: `rearm_ms.1=3000`.
 * What does not fit is left out, whole words only.
 */
void config_session_settings(const struct config *cfg, char out[LM_SETTINGS_MAX + 1]);

/** The lanes there are: those named by a [lane] section or a reader. At least one. */
size_t config_lane_names(const struct config *cfg, const char *out[CONFIG_LANES + CONFIG_READERS]);

#endif
