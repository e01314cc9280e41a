#pragma once
/// A disk that fails on demand: stands between SQLite and the system's files while it lives.
#include <filesystem>

namespace turnstone::record_test {

/// Makes itself SQLite's default file layer; not more than one at a time, and no file may outlive it.
class FaultyDisk {
  public:
    FaultyDisk();
    ~FaultyDisk();
    FaultyDisk(const FaultyDisk&) = delete;
    FaultyDisk& operator=(const FaultyDisk&) = delete;

    /// Every write, sync and truncation fails with this SQLite result code from here on; 0 ends it.
    void fail_writes(int code);
    /// The `operation`-th write or sync from now on (from 0), and it alone, fails with `code`.
    void fail_write_number(long operation, int code);
    /// From the `operation`-th write or sync from now on (from 0) every one fails with `code`, until fail_writes().
    void fail_writes_from(long operation, int code);
    [[nodiscard]] long writes_seen() const;

    /// From now on keeps beside each file what a power cut would leave of it: its content at its last sync.
    void keep_synced_images(const std::filesystem::path& directory);
    /// The directory as a power cut at this moment would leave it: nothing written since the last sync of
    /// each file.
    void power_cut_image(const std::filesystem::path& target) const;
};

} // namespace turnstone::record_test
