/* around_classes.h - what is due by time alone around classes and turns. Private to acts.
 *
 * Sections end with their term. Half an hour before a class its instruments are looked at once, and
 * technicians get one mail if one is not ready. Ten minutes before its end the section's staff are
 * told. Three minutes into a turn without a file its bench is told. After 30 days visitors leave.
 * What was said stands in the database in the same transaction (tables class_said, turn,
 * staff_mail), so that nothing is said twice, not after a restart either.
 */
#ifndef ACTS_AROUND_CLASSES_H
#define ACTS_AROUND_CLASSES_H

#include "db/db.h"

/* Inside write jobs, every few seconds. Database errors. */
enum wp_status wp_around_classes(struct wp_txn *txn);

#endif
