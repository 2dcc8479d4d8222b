"""What real adapters read, played: kernel trees and files, serial lines, Modbus units, GPIO lines. Each misbehaves on request."""
