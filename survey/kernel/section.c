/* What stands in a plane, joined where it touches, see survey/propagation/around/section.py. */

#include "around.h"

/* Room for so many items in an array that grows; `items` is the address of its pointer. False where memory runs out. */
bool make_room(void *items, int *room, int wanted, size_t size)
{
    if (wanted <= *room) return true;
    int more = *room ? *room : 64;
    while (more < wanted) more *= 2;
    void *array;
    memcpy(&array, items, sizeof array);
    array = realloc(array, (size_t)more * size);
    if (!array) return false;
    memcpy(items, &array, sizeof array);
    *room = more;
    return true;
}

/* The number of a place among those that differ by more than rounding; what is near to a new one hangs together with it. */
static int place_at(Section *section, double x, double y)
{
    Joint *joints = section->joints;
    int count = section->joint_count;
    bool some = false;
    for (int i = 0; i < count; i++) {
        double dx = joints[i].x - x, dy = joints[i].y - y;
        if (!(dx < JOINT_M && dx > -JOINT_M)) continue;
        double square = dx * dx + dy * dy;
        if (square < TOUCH_M * TOUCH_M) return i;
        some |= square < JOINT_M * JOINT_M;
    }
    Joint fresh = {x, y, x, y, x, y, count, -1, false};
    joints[count] = fresh;
    section->joint_count++;
    for (int i = 0; some && i < count; i++) {
        double dx = joints[i].x - x, dy = joints[i].y - y;
        int group = joints[i].group;
        if (group == count || !(dx * dx + dy * dy < JOINT_M * JOINT_M)) continue;
        for (int j = 0; j < count; j++)
            if (joints[j].group == group) joints[j].group = count;
    }
    return count;
}

/* Put corners in the middle of all places that hang together; where that is a long curve, at the first of them and so on. */
static void gather(Section *section)
{
    Joint *joints = section->joints;
    int count = section->joint_count;
    for (int i = 0; i < count; i++) {
        Joint *all = joints + joints[i].group;
        all->low_x = smaller(all->low_x, joints[i].x);
        all->low_y = smaller(all->low_y, joints[i].y);
        all->high_x = larger(all->high_x, joints[i].x);
        all->high_y = larger(all->high_y, joints[i].y);
        if (joints[i].group != i) all->shared = true;
    }
    for (int i = 0; i < count; i++) {
        const Joint *all = joints + joints[i].group;
        double dx = all->high_x - all->low_x, dy = all->high_y - all->low_y, x = joints[i].x, y = joints[i].y;
        if (sqrt(dx * dx + dy * dy) < 2.0 * JOINT_M) {
            x = 0.5 * (all->low_x + all->high_x);
            y = 0.5 * (all->low_y + all->high_y);
        }
        for (int j = 0; all->shared && j < i && joints[i].corner < 0; j++) {
            if (joints[j].group != joints[i].group) continue;
            const Corner *corner = section->corners + joints[j].corner;
            if (sqrt((corner->x - x) * (corner->x - x) + (corner->y - y) * (corner->y - y)) < JOINT_M) joints[i].corner = joints[j].corner;
        }
        if (joints[i].corner >= 0) continue;
        Corner fresh = {.x = x, .y = y, .outer = -1.0};
        joints[i].corner = section->corner_count;
        section->corners[section->corner_count++] = fresh;
    }
}

static bool add_arm(Section *section, Corner *corner, double dx, double dy, int segment)
{
    if (!make_room(&section->arms, &section->arm_room, section->arm_count + 1, sizeof *section->arms)) return false;
    Arm arm = {dx, dy, segment};
    section->arms[section->arm_count++] = arm;
    corner->arm_count++;
    return true;
}

/* Which segments' lines come near a place, and a few more. */
static WIDE void mark_near(const Section *section, double x, double y, uint8_t *near)
{
    const double *x1 = section->x1, *y1 = section->y1, *x2 = section->x2, *y2 = section->y2;
    for (int number = 0; number < section->count; number++) {
        double dx = x2[number] - x1[number], dy = y2[number] - y1[number];
        double twice_area = (y - y1[number]) * dx - (x - x1[number]) * dy;
        near[number] = twice_area * twice_area <= 1.0001 * JOINT_M * JOINT_M * (dx * dx + dy * dy) + TOUCH_M * TOUCH_M * TOUCH_M * TOUCH_M;
    }
}

bool join(Section *section)
{
    int count = section->count;
    section->corner_count = section->arm_count = section->joint_count = 0;
    if (!make_room(&section->ends, &section->ends_room, count, sizeof *section->ends)) return false;
    if (!make_room(&section->near, &section->near_room, count, 1)) return false;
    if (!make_room(&section->corners, &section->corner_room, 2 * count, sizeof *section->corners)) return false;
    if (!make_room(&section->joints, &section->joint_room, 2 * count, sizeof *section->joints)) return false;
    int padded = section->padded = (count + BLOCK - 1) / BLOCK * BLOCK;
    if (!make_room(&section->x1, &section->places_room, 5 * padded, sizeof *section->x1)) return false;
    section->y1 = section->x1 + padded;
    section->x2 = section->y1 + padded;
    section->y2 = section->x2 + padded;
    section->least_db = section->y2 + padded;
    for (int number = count; number < padded; number++) {
        section->x1[number] = section->y1[number] = section->x2[number] = section->y2[number] = 0.0;
        section->least_db[number] = -1.0;
    }
    for (int number = 0; number < count; number++) {
        const Segment *one = section->segments + number;
        section->ends[number][0] = place_at(section, one->x1, one->y1);
        section->ends[number][1] = place_at(section, one->x2, one->y2);
    }
    gather(section);
    for (int number = 0; number < count; number++) {
        Segment *one = section->segments + number;
        int a = section->joints[section->ends[number][0]].corner, b = section->joints[section->ends[number][1]].corner;
        section->ends[number][0] = a;
        section->ends[number][1] = b;
        section->x1[number] = one->x1 = section->corners[a].x;
        section->y1[number] = one->y1 = section->corners[a].y;
        section->x2[number] = one->x2 = section->corners[b].x;
        section->y2[number] = one->y2 = section->corners[b].y;
    }
    for (int node = 0; node < section->corner_count; node++) { /* an end near to other segments is moved onto the nearest */
        Corner *corner = section->corners + node;
        double least = INFINITY, x = 0.0, y = 0.0;
        int feet = 0;
        mark_near(section, corner->x, corner->y, section->near);
        for (int number = 0; number < count; number++) {
            if (!section->near[number]) continue;
            const Segment *one = section->segments + number;
            if (section->ends[number][0] == node || section->ends[number][1] == node) continue;
            double dx = one->x2 - one->x1, dy = one->y2 - one->y1, px = corner->x - one->x1, py = corner->y - one->y1;
            double twice_area = py * dx - px * dy, square = dx * dx + dy * dy;
            if (twice_area * twice_area > 1.0001 * JOINT_M * JOINT_M * square) continue; /* without a root for most */
            double size = larger(sqrt(square), TOUCH_M), along = (px * dx + py * dy) / size, off = twice_area / size;
            if (!(JOINT_M < along && along < size - JOINT_M && fabs(off) < JOINT_M) || fabs(off) > least + TOUCH_M) continue;
            if (fabs(off) < least - TOUCH_M) x = y = feet = 0;
            least = smaller(least, fabs(off));
            x += one->x1 + along * dx / size;
            y += one->y1 + along * dy / size;
            feet++;
        }
        if (!feet) continue;
        corner->x = x / feet; /* or between those that are equally near */
        corner->y = y / feet;
    }
    for (int number = 0; number < count; number++) {
        Segment *one = section->segments + number;
        const Corner *a = section->corners + section->ends[number][0], *b = section->corners + section->ends[number][1];
        section->x1[number] = one->x1 = a->x;
        section->y1[number] = one->y1 = a->y;
        section->x2[number] = one->x2 = b->x;
        section->y2[number] = one->y2 = b->y;
        double least_db = one->table ? one->table[0] : one->loss_db;
        for (int k = 1; one->table && k < one->table_count; k++) least_db = smaller(least_db, one->table[k]);
        section->least_db[number] = smaller(least_db, one->beside_db);
        double dx = one->x2 - one->x1, dy = one->y2 - one->y1, size = sqrt(dx * dx + dy * dy);
        one->size_m = size;
        one->dx = size < TOUCH_M ? 0.0 : dx / size;
        one->dy = size < TOUCH_M ? 0.0 : dy / size;
    }
    for (int node = 0; node < section->corner_count; node++) {
        Corner *corner = section->corners + node;
        corner->first_arm = section->arm_count;
        mark_near(section, corner->x, corner->y, section->near);
        for (int number = 0; number < count; number++) {
            if (!section->near[number]) continue; /* its own ends lie on it */
            const Segment *one = section->segments + number;
            if (one->size_m < TOUCH_M) continue;
            if (node == section->ends[number][0]) {
                if (!add_arm(section, corner, one->dx, one->dy, number)) return false;
            } else if (node == section->ends[number][1]) {
                if (!add_arm(section, corner, -one->dx, -one->dy, number)) return false;
            } else {
                double off = (corner->y - one->y1) * one->dx - (corner->x - one->x1) * one->dy;
                if (!(fabs(off) < JOINT_M)) continue;
                double along = (corner->x - one->x1) * one->dx + (corner->y - one->y1) * one->dy;
                if (!(JOINT_M < along && along < one->size_m - JOINT_M)) continue;
                if (!add_arm(section, corner, one->dx, one->dy, number)) return false;
                if (!add_arm(section, corner, -one->dx, -one->dy, number)) return false;
            }
            corner->loss_db = larger(corner->loss_db, one->loss_db);
        }
    }
    for (int node = 0; node < section->corner_count; node++) {
        Corner *corner = section->corners + node;
        const Arm *arms = corner->arms = section->arms + corner->first_arm;
        for (int i = 0; i < corner->arm_count; i++)
            for (int j = 0; j < i; j++)
                if (arms[i].dx * arms[j].dx + arms[i].dy * arms[j].dy < -1.0 + 1e-5) corner->flat = true;
    }
    return true;
}

static double pass_loss_db(const Segment *one, double dx, double dy)
{
    if (!one->table) return one->loss_db;
    double at = smaller(fabs(one->nx * dx + one->ny * dy), 1.0) * (one->table_count - 1);
    int low = (int)at < one->table_count - 2 ? (int)at : one->table_count - 2;
    return one->table[low] + (at - low) * (one->table[low + 1] - one->table[low]);
}

/* Whether a string, given by its last step, has passed a solid beside the plane. */
static bool has_passed_beside(const Scratch *scratch, int step, int solid)
{
    for (; step >= 0; step = scratch->steps[step].before)
        for (int i = 0; i < scratch->steps[step].beside_count; i++)
            if (scratch->beside_solids[scratch->steps[step].first_beside + i] == solid) return true;
    return false;
}

/* Of the corners that a leg goes through exactly, the weaker side. */
static int weaker_sides(Scratch *scratch, int corner_count, int hit_count)
{
    const Hit *all = scratch->corner_hits;
    for (int i = 0; i < corner_count; i++) {
        bool done = false;
        double most_left = -1.0, most_right = -1.0;
        int left = -1, right = -1;
        for (int j = 0; j < i; j++) done |= all[j].corner == all[i].corner;
        if (done) continue;
        for (int j = i; j < corner_count; j++) {
            if (all[j].corner != all[i].corner) continue;
            if (all[j].side > 0 && all[j].loss_db > most_left) {
                most_left = all[j].loss_db;
                left = all[j].segment;
            }
            if (all[j].side < 0 && all[j].loss_db > most_right) {
                most_right = all[j].loss_db;
                right = all[j].segment;
            }
        }
        if (left < 0 || right < 0) continue;
        Hit weaker = {.segment = most_left < most_right ? left : right, .loss_db = smaller(most_left, most_right)};
        scratch->hits[hit_count++] = weaker;
    }
    return hit_count;
}

/* Whether a leg goes, for certain, through one segment that costs more than so much: most legs are given up for that. */
static WIDE bool is_blocked(const Section *section, place_t from, double dx, double dy, double size, double most_db)
{
    for (int first = 0; first < section->padded; first += BLOCK) {
        const double *x1 = section->x1 + first, *y1 = section->y1 + first, *x2 = section->x2 + first, *y2 = section->y2 + first;
        const double *least_db = section->least_db + first;
        uint64_t any = 0;
        for (int i = 0; i < BLOCK; i++) {
            double px = x1[i] - from.x, py = y1[i] - from.y, qx = x2[i] - from.x, qy = y2[i] - from.y;
            double s1 = py * dx - px * dy, s2 = qy * dx - qx * dy, low = smaller(s1, s2), high = larger(s1, s2);
            double along = ((px * dx + py * dy) * s2 - (qx * dx + qy * dy) * s1) / (s2 - s1);
            uint64_t hit = least_db[i] > most_db ? 1 : 0;
            hit = low < -TOUCH_M ? hit : 0;
            hit = high > TOUCH_M ? hit : 0;
            hit = along > 1.001 * END_M ? hit : 0;
            hit = along < size - 1.001 * END_M ? hit : 0;
            any |= hit;
        }
        if (any) return true;
    }
    return false;
}

/* Which segments reach both sides of a leg's line. */
static WIDE void mark_hits(const Section *section, place_t from, double dx, double dy, uint8_t *may_hit)
{
    const double *x1 = section->x1, *y1 = section->y1, *x2 = section->x2, *y2 = section->y2;
    for (int number = 0; number < section->count; number++) {
        double s1 = (y1[number] - from.y) * dx - (x1[number] - from.x) * dy, s2 = (y2[number] - from.y) * dx - (x2[number] - from.x) * dy;
        may_hit[number] = (s1 <= TOUCH_M || s2 <= TOUCH_M) && (s1 >= -TOUCH_M || s2 >= -TOUCH_M);
    }
}

/* What a leg goes through, or passes beside the plane where that costs less; false without memory. It stops as soon as more than
   `most_db` is lost for certain, and then tells only that. */
bool met_by_leg(const Section *section, Scratch *scratch, place_t from, place_t to, int from_corner, int to_corner, double most_db,
                int step, Met *met)
{
    double dx = to.x - from.x, dy = to.y - from.y, size = sqrt(dx * dx + dy * dy);
    int hit_count = 0, corner_count = 0;
    met->loss_db = 0.0;
    met->passed_count = met->beside_count = 0;
    if (size < TOUCH_M) return true;
    dx /= size;
    dy /= size;
    if (!make_room(&scratch->hits, &scratch->hit_room, 2 * section->count, sizeof *scratch->hits) ||
        !make_room(&scratch->may_hit, &scratch->may_hit_room, section->count, 1) ||
        !make_room(&scratch->corner_hits, &scratch->corner_hit_room, section->count, sizeof *scratch->corner_hits))
        return false;
    if (most_db < 1e8 && (step < 0 || !scratch->steps[step].all_beside) && is_blocked(section, from, dx, dy, size, most_db)) {
        met->loss_db = INFINITY;
        return true;
    }
    mark_hits(section, from, dx, dy, scratch->may_hit);
    for (int number = 0; number < section->count; number++) {
        if (!scratch->may_hit[number]) continue;
        const Segment *one = section->segments + number;
        double s1 = (one->y1 - from.y) * dx - (one->x1 - from.x) * dy, s2 = (one->y2 - from.y) * dx - (one->x2 - from.x) * dy;
        int a = section->ends[number][0], b = section->ends[number][1];
        if (from_corner == a || from_corner == b || to_corner == a || to_corner == b) continue;
        bool on_1 = fabs(s1) <= TOUCH_M, on_2 = fabs(s2) <= TOUCH_M;
        if (on_1 && on_2) continue;
        if (on_1 || on_2) {
            double px = on_1 ? one->x1 : one->x2, py = on_1 ? one->y1 : one->y2, along = (px - from.x) * dx + (py - from.y) * dy;
            if (!(END_M < along && along < size - END_M)) continue;
            Hit hit = {number, on_1 ? a : b, (on_1 ? s2 : s1) > 0.0 ? 1 : -1, pass_loss_db(one, dx, dy)};
            scratch->corner_hits[corner_count++] = hit;
            continue;
        }
        double share = s1 / (s1 - s2);
        double along = (one->x1 + share * (one->x2 - one->x1) - from.x) * dx + (one->y1 + share * (one->y2 - one->y1) - from.y) * dy;
        if (!(END_M < along && along < size - END_M)) continue;
        Hit hit = {.segment = number, .loss_db = pass_loss_db(one, dx, dy)};
        if (smaller(hit.loss_db, one->beside_db) > most_db && !has_passed_beside(scratch, step, one->solid)) {
            met->loss_db = INFINITY;
            return true;
        }
        scratch->hits[hit_count++] = hit;
    }
    if (corner_count) hit_count = weaker_sides(scratch, corner_count, hit_count);
    if (!hit_count) return true;
    if (!make_room(&scratch->passed, &scratch->passed_room, scratch->passed_count + hit_count, sizeof *scratch->passed) ||
        !make_room(&scratch->beside_solids, &scratch->beside_solids_room, scratch->beside_count + hit_count,
                   sizeof *scratch->beside_solids))
        return false;
    for (int i = 0; i < hit_count; i++) {
        const Segment *one = section->segments + scratch->hits[i].segment;
        bool seen = false;
        for (int j = 0; one->solid >= 0 && j < i; j++) seen |= section->segments[scratch->hits[j].segment].solid == one->solid;
        if (seen || (one->solid >= 0 && has_passed_beside(scratch, step, one->solid))) continue;
        double material_db = 0.0;
        int first = scratch->passed_count + met->passed_count, members = 0;
        for (int j = 0; j < hit_count; j++) {
            int other = scratch->hits[j].segment;
            if (other != scratch->hits[i].segment && (one->solid < 0 || section->segments[other].solid != one->solid)) continue;
            material_db += scratch->hits[j].loss_db;
            if (first + members < scratch->passed_room) scratch->passed[first + members++] = other;
        }
        if (one->beside_db < material_db) {
            met->loss_db += one->beside_db;
            scratch->beside_solids[scratch->beside_count + met->beside_count++] = one->solid;
        } else {
            met->loss_db += material_db;
            met->passed_count += members;
        }
        if (met->loss_db > most_db) return true;
    }
    return true;
}

/* What a leg along a face from corner to corner meets: all that stands on the face on the leg's own side. */
double along_face_loss_db(const Section *section, int one, int other, bool closed_left)
{
    place_t a = corner_place(section, one), b = corner_place(section, other);
    double size = apart(a, b), dx = (b.x - a.x) / size, dy = (b.y - a.y) / size, total_db = 0.0;
    for (int number = 0; number < section->corner_count; number++) {
        const Corner *corner = section->corners + number;
        double off = (corner->y - a.y) * dx - (corner->x - a.x) * dy;
        if (fabs(off) > JOINT_M || number == one || number == other) continue;
        double along = (corner->x - a.x) * dx + (corner->y - a.y) * dy, most_db = 0.0;
        bool face = false;
        if (!(END_M < along && along < size - END_M)) continue;
        for (int i = 0; i < corner->arm_count; i++) {
            double side = dx * corner->arms[i].dy - dy * corner->arms[i].dx;
            if (fabs(side) < 0.02) face = true;
            else if ((side > 0.0) != closed_left && fabs(side) > 0.1)
                most_db = larger(most_db, section->segments[corner->arms[i].segment].loss_db);
        }
        if (face) total_db += most_db;
    }
    return total_db;
}
