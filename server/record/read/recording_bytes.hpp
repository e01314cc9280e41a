#pragma once
/// The file of a closed recording, byte by byte, for sending it as it is.
///
/// A process that closes any descriptor of a file gives up its POSIX locks on it (sqlite.org/howtocorrupt, 2.2), those
/// of its SQLite connections among them. So the file is read through SQLite's own handle, which SQLite closes when no
/// lock can be lost. A shared lock is held meanwhile: nobody changes the file under those who read it.
#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <memory>
#include <span>

#include "shared/result.hpp"

namespace turnstone {

class RecordingBytes {
  public:
    /// Fails when the file is not whole by itself: live, or left by a killed process.
    [[nodiscard]] static Result<RecordingBytes> open(const std::filesystem::path& path);
    RecordingBytes(RecordingBytes&&) noexcept;
    RecordingBytes& operator=(RecordingBytes&&) noexcept;
    ~RecordingBytes();

    [[nodiscard]] std::uint64_t size() const noexcept;
    /// False when the disk does not give them. `offset + into.size()` is at most size().
    [[nodiscard]] bool read(std::uint64_t offset, std::span<char> into);

  private:
    struct State;
    explicit RecordingBytes(std::unique_ptr<State> state);
    std::unique_ptr<State> state_;
};

} // namespace turnstone
