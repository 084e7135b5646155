/* capture_fields.h - what an agent says of a capture, from the fields of its request
 * (schema/wire/agent.md). Pure; any thread. */
#ifndef CAPTURE_FIELDS_H
#define CAPTURE_FIELDS_H

#include "acts/intake.h"

#define WP_CAPTURE_FIELD_MOST 4096

/* Reads the Wavepost-Capture field (base64url of a JSON object) into `intake`. WP_INVALID: the
 * error names the member. */
enum wp_status wp_capture_field(const char *field, struct wp_intake *intake,
                                struct wp_error *error);

/* The same from a JSON object, as an offer's list holds them; `sha256` is read where there is one.
 */
enum wp_status wp_capture_object(const cJSON *object, struct wp_intake *intake,
                                 struct wp_error *error);

#endif
