#pragma once
/// What files keep for operators from one start of the server to the next: the key, and their sessions.
#include <filesystem>
#include <mutex>
#include <optional>
#include <string>

#include "shared/result.hpp"

namespace turnstone {

/// The key in `file`. When there is no such file, it is made with a random key, readable by its owner only.
[[nodiscard]] Result<std::string> kept_operator_key(const std::filesystem::path& file);

/// The sessions that a key opened, in a file beside the recordings that only its owner reads.
class KeptSessions {
  public:
    /// `mark`: tells keys apart, and does not tell them.
    KeptSessions(const std::filesystem::path& recordings, std::string mark);
    /// Empty: none are kept, or another key opened them.
    [[nodiscard]] std::string read() const;
    /// What the next write() is to write; empty: no file stays. Returns at once; of any thread.
    void put(std::string sessions);
    /// Warns when it cannot: nobody is kept from recording by that.
    void write();

  private:
    std::filesystem::path file_;
    std::string mark_;
    std::mutex mutex_;
    std::optional<std::string> put_; ///< and not written yet
};

} // namespace turnstone
