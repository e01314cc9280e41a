// How long the disk lasts, against plain arithmetic: what is left beyond 100 MB, over the rate at which the file grows.
#include <catch2/catch.hpp>

#include "server/record/disk_watch.hpp"
#include "shared/time.hpp"

using namespace turnstone;

namespace {

RecorderStatus recording(std::uint64_t file_bytes, std::uint64_t free_bytes, std::string id = "a") {
    RecorderStatus status;
    status.recording = true;
    status.recording_id = std::move(id);
    status.file_bytes = file_bytes;
    status.disk_free_bytes = free_bytes;
    return status;
}

constexpr std::int64_t at(double t_s) {
    return 1'790'000'000 * kNsPerS + static_cast<std::int64_t>(t_s * 1e9);
}

} // namespace

TEST_CASE("hours left are what is free over how fast the recording grows, and are looked at once a minute") {
    DiskWatch watch;
    CHECK_FALSE(watch.look(recording(1'000'000, 3'700'000'000), at(0)));
    CHECK_FALSE(watch.look(recording(1'000'000, 3'700'000'000), at(9.9)));
    // 100 kB/s: 3.6 GB last ten hours.
    CHECK(watch.look(recording(2'000'000, 3'700'000'000), at(10)).value() == Approx(10));
    CHECK_FALSE(watch.look(recording(3'000'000, 3'700'000'000), at(20)));
    CHECK_FALSE(watch.look(recording(7'900'000, 3'700'000'000), at(69.9)));
    // The rate is of the whole recording: a burst does not make it a short evening.
    CHECK(watch.look(recording(15'000'000, 1'900'000'000), at(70)).value() == Approx(1.8e9 / 2e5 / 3600));
}

TEST_CASE("a disk that is full, or hovers about full, has no time left, and never less than none") {
    DiskWatch watch;
    CHECK_FALSE(watch.look(recording(0, 90'000'000), at(0)));
    double t_s = 10;
    for (const std::uint64_t free_bytes : {90'000'000ULL, 0ULL, 100'000'000ULL, 99'999'999ULL}) {
        INFO(free_bytes);
        CHECK(watch.look(recording(1'000'000, free_bytes), at(t_s)).value() == 0);
        t_s += 60;
    }
    // A little is given back, and it is said: 36 MB at 1 MB in 250 s.
    CHECK(watch.look(recording(1'000'000, 136'000'000), at(250)).value() == Approx(36.0 * 250 / 3600));
    // While nothing is written to a full disk the file does not grow: the rate sinks, and nothing is left all the same.
    CHECK(watch.look(recording(1'000'000, 50'000'000), at(400)).value() == 0);
    DiskWatch full_from_the_start;
    CHECK_FALSE(full_from_the_start.look(recording(0, 0), at(0)));
    CHECK(full_from_the_start.look(recording(0, 0), at(10)).value() == 0);
}

TEST_CASE("a recording that does not grow, or shrinks, lasts as long as anything is said to") {
    DiskWatch watch;
    CHECK_FALSE(watch.look(recording(5'000'000, 3'700'000'000), at(0)));
    CHECK(watch.look(recording(5'000'000, 3'700'000'000), at(10)).value() == 10'000);
    CHECK(watch.look(recording(4'000'000, 3'700'000'000), at(70)).value() == 10'000); // its log was folded in
}

TEST_CASE("a new recording is measured from its own beginning, and none says nothing") {
    DiskWatch watch;
    CHECK_FALSE(watch.look(recording(0, 3'700'000'000), at(0)));
    CHECK(watch.look(recording(50'000'000, 3'700'000'000), at(10)));
    CHECK_FALSE(watch.look(recording(1'000'000, 3'700'000'000, "b"), at(70)));
    CHECK(watch.look(recording(2'000'000, 3'700'000'000, "b"), at(80)).value() == Approx(10));
    RecorderStatus none = recording(0, 3'700'000'000, "b");
    none.recording = false;
    CHECK_FALSE(watch.look(none, at(200)));
}
